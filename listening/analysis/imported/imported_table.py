"""Findings from a table collected elsewhere: estimates, limits and fit; it describes and never decides."""

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib import metadata

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening import __version__
from listening.analysis.collect import keyed_answers, screening
from listening.analysis.decide import beside, decide, families, sensitivity, write_up
from listening.analysis.decide.decide import Decided, Fitted
from listening.analysis.decide.sensitivity import Other
from listening.analysis.explain import strength_sets
from listening.errors import StudyError
from listening.records.dealt.imported import About, Imported
from listening.records.forms.form import digest_of
from listening.records.found.findings import Findings, Strength, StrengthSet
from listening.records.found.findings_question import QuestionFinding
from listening.records.found.findings_study import (
    Caution,
    Digests,
    ListenerRow,
    Matching,
    Method,
    PanelFinding,
)
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from stats import t_interval
from stats.deciding import verdict
from stats.errors import StatsError
from stats.pairs import bradley_terry, comparisons, strength_intervals
from stats.pairs.bradley_terry import Strengths
from stats.pairs.comparisons import Comparisons
from stats.pairs.strength_intervals import Answers

LEVEL = 0.95
LISTENERS_UNKNOWN = (
    "listeners not identified: the table does not say who gave which answer, so nobody can tell whether "
    "listeners agree or a few of them answered often"
)
ORDER_UNKNOWN = (
    "the table does not say which of the two was heard first, so an advantage of the first cannot be told "
    "from a difference"
)
DESCRIBED = (
    "a table collected elsewhere shows no plan, so nobody can see whether the claim came before the answers: "
    "it is described and not decided"
)
POOLED = "all answers as if each came from another listener: it describes, it decides nothing"
LIBRARIES = ("numpy", "scipy", "pandas", "numba")


@dataclass(frozen=True)
class Answered:
    """The rows of the table, checked."""

    first: tuple[str, ...]
    second: tuple[str, ...]
    counts: NDArray[np.int64]
    """(rows, 3) how often first, neither and second were chosen."""
    listener: tuple[str, ...] | None
    stimuli: tuple[tuple[str, ...], tuple[str, ...]] | None
    """Recordings heard first and second; None where the table does not say."""

    @property
    def conditions(self) -> tuple[str, ...]:
        """Everything compared, in order."""
        return tuple(sorted({*self.first, *self.second}))

    @property
    def n_no_difference(self) -> int:
        return int(self.counts[:, 1].sum())


def findings(about: About, rows: Answered, *, table: str, digest: str) -> Findings:
    """What a table of answers says: same table, same bytes.

    Parameters
    ----------
    table : name of the file
    digest : SHA-256 of its bytes

    Raises
    ------
    StudyError
        There is no answer in it, or a question names what was not compared.
    """
    answers = _frame(about, rows)
    _check(about, rows, len(answers))
    n_listeners = len(set(rows.listener or ()))
    protocol = about.as_protocol(rows.conditions, n_listeners)
    listeners = screening.listeners(answers, protocol) if rows.listener is not None else ()
    pooled = _pooled(rows)
    imported = _imported(about, rows, table, len(answers), pooled)
    questions = tuple(_questions(imported, answers, protocol, listeners, pooled))
    digests = [digest_of(about.model_dump_json(exclude_defaults=True)), digest]
    return Findings(
        version=__version__,
        name=about.name,
        title=about.title,
        simulated=about.listened.simulated,
        digests=Digests(
            study=digest_of("\n".join(digests)), protocol=digests[0], manifest="", key="", answers=digest
        ),
        panel=_panel(about, listeners, len(answers)),
        questions=questions,
        level_slopes=(),
        strengths=_strengths(imported, answers, protocol, rows, pooled),
        matching=Matching(
            label="as the table's owner played them",
            metric=None,
            tolerance_db=None,
            calibrated=False,
            largest_residual_db=None,
            stimuli=(),
        ),
        method=Method(
            minimum_listeners=verdict.MINIMUM_LISTENERS,
            slope_coverage=LEVEL,
            level_metrics=(),
            versions={"listening": __version__} | {name: metadata.version(name) for name in LIBRARIES},
        ),
        imported=imported,
        cautions=tuple(_cautions(about, questions)),
    )


def _frame(about: About, rows: Answered) -> pd.DataFrame:
    """One row for each answer, with the columns of `collect.frame` that the analysis needs."""
    each = np.repeat(np.arange(len(rows.first)), rows.counts.sum(axis=1))
    chosen = np.repeat(np.tile([1.0, 0.5, 0.0], len(rows.first)), rows.counts.ravel())
    first, second = np.array(rows.first, dtype=object)[each], np.array(rows.second, dtype=object)[each]
    stimuli = rows.stimuli or (rows.first, rows.second)
    listener = np.array(rows.listener or [""] * len(rows.first), dtype=object)[each]
    return pd.DataFrame(
        {
            "listener": listener,
            "attribute": about.asked.name,
            "presentation": AS_RECORDED,
            "role": keyed_answers.STUDY,
            "condition_first": first,
            "condition_second": second,
            "stimulus_first": np.array(stimuli[0], dtype=object)[each],
            "stimulus_second": np.array(stimuli[1], dtype=object)[each],
            "gain_difference_db": 0.0,
            "chosen": chosen,
            "response_s": np.nan,
            "simulated": about.listened.simulated,
        }
    )


def _check(about: About, rows: Answered, n_answers: int) -> None:
    if n_answers == 0:
        raise StudyError("the table has no answer in it: every count is 0; give a table with answers")
    known = set(rows.conditions)
    for i, question in enumerate(about.questions):
        for name in (question.contrast.more, question.contrast.than):
            if name not in known:
                raise StudyError(
                    f"questions[{i}] ({question.id}): found {name!r}, wanted one that the table compares: "
                    f"{', '.join(sorted(known))}"
                )
    if strange := sorted(set(about.labels) - known):
        raise StudyError(
            f"labels: found {', '.join(strange)}, wanted what the table compares: {', '.join(sorted(known))}"
        )


def _imported(
    about: About, rows: Answered, table: str, n_answers: int, pooled: Strengths | StatsError
) -> Imported:
    log_nu = None
    if isinstance(pooled, Strengths) and "log_nu" in pooled.names:
        log_nu = float(pooled.estimate[pooled.names.index("log_nu")])
    return Imported(
        table=table,
        collected=about.collected,
        n_rows=len(rows.first),
        n_answers=n_answers,
        n_no_difference=rows.n_no_difference,
        listeners_known=rows.listener is not None,
        order_known=about.table.first_heard_first,
        training_known=about.listened.training is not None,
        log_nu=log_nu,
    )


def _questions(
    imported: Imported,
    answers: pd.DataFrame,
    protocol: Protocol,
    listeners: Sequence[ListenerRow],
    pooled: Strengths | StatsError,
) -> Iterator[QuestionFinding]:
    """Each claim with its estimates and limits, and no word on it, whatever they are."""
    for question in protocol.questions:
        alpha = families.even(question.alpha, families.size(question, protocol.questions))
        described = _described(decide.judge(_fitted(imported, answers, question), alpha))
        others = [_other(described, pooled, len(listeners))]
        models = None
        if imported.listeners_known:
            found = beside.of_question(described, answers)
            models = dataclasses.replace(found, others=tuple(map(_wordless, found.others)))
            others.append(_wordless(sensitivity.sign_test(described)))
        made = write_up.question(described, answers, protocol, slope=None, others=others, models=models)
        unknown = {} if imported.listeners_known else {"n_listeners": 0, "listeners": ()}
        yield made.model_copy(update={"decided_by": "nothing", **unknown})


def _fitted(imported: Imported, answers: pd.DataFrame, question: Question) -> Fitted:
    fitted = decide.fit_question(answers, question, ordered=imported.order_known)
    if not imported.listeners_known:
        return dataclasses.replace(fitted, found=None, refused=LISTENERS_UNKNOWN)
    return fitted if imported.order_known else dataclasses.replace(fitted, refused=ORDER_UNKNOWN)


def _described(judged: Decided) -> Decided:
    reason = "; ".join(filter(None, (DESCRIBED, judged.fitted.refused)))
    return dataclasses.replace(judged, word="no verdict", reason=reason, flips=False)


def _wordless(other: Other) -> Other:
    return dataclasses.replace(other, word=None)


def _pooled(rows: Answered) -> Strengths | StatsError:
    """Strengths of all answers together, ties by Davidson; or why there are none.

    Source: Bradley & Terry 1952, Biometrika 39; Davidson 1970, JASA 65.
    """
    won, tied, lost = (rows.counts[:, i].astype(float) for i in range(3))
    try:
        data = comparisons.collect(rows.first, rows.second, won, lost, tied)
        return bradley_terry.fit(data, ties="davidson" if rows.n_no_difference else None)
    except StatsError as error:
        return error


def _other(decided: Decided, pooled: Strengths | StatsError, n_listeners: int) -> Other:
    """The contrast of the pooled fit; no word, for it cannot bear one."""
    name = "answers pooled over listeners"
    question = decided.fitted.question
    if isinstance(pooled, StatsError):
        return Other(name, None, None, None, None, n_listeners, None, str(pooled))
    estimate, se = pooled.difference(question.contrast.more, question.contrast.than)
    lower, upper = t_interval.of(estimate, se, np.inf, 1 - 2 * decided.alpha)
    p = t_interval.upper_tail(estimate / se, np.inf) if question.of_kind.has_direction else None
    return Other(name, estimate, lower, upper, p, n_listeners, None, POOLED)


def _strengths(
    imported: Imported,
    answers: pd.DataFrame,
    protocol: Protocol,
    rows: Answered,
    pooled: Strengths | StatsError,
) -> tuple[StrengthSet, ...]:
    if imported.listeners_known and imported.order_known and not imported.n_no_difference:
        return strength_sets.findings(strength_sets.fit(answers, protocol), protocol)
    attribute = protocol.attributes[0].name
    about = {"attribute": attribute, "presentation": AS_RECORDED, "n_answers": len(answers), "order": None}
    n_listeners = len(set(rows.listener or ()))
    if isinstance(pooled, StatsError):
        made = StrengthSet(
            **about, n_listeners=n_listeners, interval_by="none", note=str(pooled), strengths=()
        )
        return (made,)
    known = n_listeners > 1
    if known:
        pooled = dataclasses.replace(
            pooled, covariance=strength_intervals.clustered_covariance(pooled, _single(answers, pooled.data))
        )
    value, covariance = pooled.centred()
    quantile = (
        t_interval.quantile((1 + LEVEL) / 2, n_listeners - 1)
        if known
        else t_interval.quantile((1 + LEVEL) / 2, np.inf)
    )
    reach = quantile * np.sqrt(np.diag(covariance))
    return (
        StrengthSet(
            **about,
            n_listeners=n_listeners,
            interval_by="t, answers clustered by listener" if known else "Wald, answers pooled",
            note="" if known else POOLED,
            strengths=tuple(
                _strength(answers, protocol, name, float(value[i]), float(reach[i]))
                for i, name in enumerate(pooled.data.items)
            ),
        ),
    )


def _single(answers: pd.DataFrame, data: Comparisons) -> Answers:
    number = {name: i for i, name in enumerate(data.items)}
    return Answers(
        items=data.items,
        listener=np.unique(answers["listener"], return_inverse=True)[1],
        first=np.asarray(answers["condition_first"].map(number), dtype=np.int64),
        second=np.asarray(answers["condition_second"].map(number), dtype=np.int64),
        answer=(2 * answers["chosen"] - 1).to_numpy(np.int64),
    )


def _strength(answers: pd.DataFrame, protocol: Protocol, name: str, value: float, reach: float) -> Strength:
    first, second = answers["condition_first"] == name, answers["condition_second"] == name
    chosen = answers["chosen"]
    return Strength(
        condition=name,
        label=protocol.label(name),
        strength=write_up.interval(value, value - reach, value + reach, LEVEL),
        n=int((first | second).sum()),
        n_chosen=int((first & (chosen == 1)).sum() + (second & (chosen == 0)).sum()),
        n_no_difference=int(((first | second) & (chosen == 0.5)).sum()),
    )


def _panel(about: About, listeners: Sequence[ListenerRow], n_answers: int) -> PanelFinding:
    return PanelFinding(
        stands_for=about.listened.stands_for,
        training=about.listened.training or "not said",
        n_planned=len(listeners),
        n_listeners=len(listeners),
        n_answers=n_answers,
        n_simulated=sum(row.simulated for row in listeners),
        n_excluded=0,
        n_unfinished=0,
        listeners=tuple(listeners),
    )


def _cautions(about: About, questions: Sequence[QuestionFinding]) -> Iterator[Caution]:
    yield "imported"
    if about.listened.simulated:
        yield "simulated"
    if any(q.these_recordings_only for q in questions):
        yield "one strike"
