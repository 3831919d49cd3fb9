"""Whether a difference is audible at all: triangle, duo-trio, 2-AFC and same-different, decided."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from listening.analysis.collect import keyed_discrimination as trials
from listening.analysis.decide import as_planned, families
from listening.analysis.decide.decide import Groups, of_group
from listening.analysis.decide.write_up import finite
from listening.records.found.findings_question import QuestionFinding, Sensitivity
from listening.records.found.interval import Interval
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol, Question
from stats.deciding import verdict
from stats.deciding.verdict import Verdict
from stats.discrimination import above_chance, beta_binomial
from stats.discrimination.above_chance import Bounds, ToldApart
from stats.errors import StatsError

FEWEST = 2  # listeners, for anything to be computed; a verdict needs more


def questions(
    table: pd.DataFrame, everybody: pd.DataFrame, protocol: Protocol, groups: Groups | None = None
) -> dict[str, QuestionFinding]:
    """All planned questions of kind `audible`, by id; each family corrected by Holm's steps.

    Parameters
    ----------
    table, everybody : answers as `discriminated.frame` gives them, without and with those who are excluded
    groups : as `decide.of_group` takes them

    Source: Holm 1979, Scand. J. Statist. 6.
    """
    fitted = [
        _fitted(
            of_group(table, asked, groups or {}), of_group(everybody, asked, groups or {}), asked, protocol
        )
        for asked in protocol.questions
        if asked.of_kind.by_right_answers
    ]
    gathered = families.gathered(fitted, lambda one: one.asked)
    return {one.id: one for family in gathered for one in _judge_family(family)}


@dataclass(frozen=True)
class _Fitted:
    """One question before its alpha is known."""

    asked: Question
    unjudged: QuestionFinding
    found: ToldApart | None
    """None where the answers bear no model."""
    with_all: ToldApart | None
    """With those who are excluded; None where nobody is."""
    p_beta_binomial: float | None


def _fitted(table: pd.DataFrame, everybody: pd.DataFrame, asked: Question, protocol: Protocol) -> _Fitted:
    rows = trials.select(table, asked)
    made = _unfitted(rows, asked, protocol)
    if made.n_listeners < FEWEST:
        reason = f"{made.n_listeners} listeners, at least {verdict.MINIMUM_LISTENERS} are needed"
        return _Fitted(
            asked, made.model_copy(update={"word": "no verdict", "reason": reason}), None, None, None
        )
    try:
        found = _fit(rows)
        with_all = _fit(trials.select(everybody, asked)) if len(everybody) > len(table) else None
    except StatsError as error:
        reason = f"the answers cannot bear the question: {error}"
        return _Fitted(asked, made.model_copy(update={"reason": reason}), None, None, None)
    p = None
    scored_as = tasks.named(made.task).scored_as
    if made.guess is not None and scored_as is not None:
        counts = rows.groupby("listener")["right"].agg(["sum", "count"])
        p = beta_binomial.fit(scored_as, counts["sum"], counts["count"]).p_difference
    return _Fitted(asked, made, found, with_all, p)


def _judge_family(family: Sequence[_Fitted]) -> list[QuestionFinding]:
    return families.judged(
        family,
        p=lambda one: one.found.p if one.found is not None else 1.0,
        judge=lambda one, n: _judge(one, one.asked.alpha / n),
        rejects=lambda _, judged, n: (
            judged.share_not_guessed is not None and (judged.share_not_guessed.lower or 0.0) > 0
        ),
    )


def _judge(one: _Fitted, alpha: float) -> QuestionFinding:
    """The question at a one-sided alpha: the rule of `more`, on the share of trials heard."""
    made = one.unjudged.model_copy(update={"alpha_corrected": alpha})
    found = one.found
    if found is None:
        return made
    limits, judged = _decided(found, one.asked, alpha)
    level = 1 - 2 * alpha
    return made.model_copy(
        update={
            "word": judged.word,
            "reason": judged.reason,
            "share_not_guessed": Interval(
                value=found.heard, lower=limits.lower, upper=limits.upper, coverage=level
            ),
            "share": None if found.guess is None else _shares(found, limits, found.guess, level),
            "se": found.se,
            "df": found.df,
            "p": found.p,
            "limits_by": limits.by,
            "spread_listeners": finite(found.spread_listeners),
            "spread_stimuli": finite(found.spread_stimuli),
            "sensitivity": tuple(_others(one, found, judged.word, alpha)),
        }
    )


def _unfitted(rows: pd.DataFrame, asked: Question, protocol: Protocol) -> QuestionFinding:
    attribute = protocol.attribute(asked.attribute)
    strikes = [rows[f"stimulus_{end}"].replace("", np.nan).nunique() for end in ("more", "than")]
    apart = rows[rows["is_different"] == 1]
    alike = rows[rows["is_different"] == 0]
    return QuestionFinding.model_validate(
        as_planned.of_question(asked, protocol)
        | {
            "task": attribute.task,
            "guess": tasks.named(attribute.task).guess,
            "decided_by": "discrimination",
            "beyond_level": False,
            "smallest_effect_logit": 0.0,
            "alpha_corrected": asked.alpha,
            "word": "undecided",
            "reason": "",
            "n_listeners": int(rows["listener"].nunique()),
            "n_answers": len(rows),
            "n_direct": len(apart),
            "n_direct_more": int(apart["right"].sum()),
            "n_false": int((1 - alike["right"]).sum()) if len(alike) else None,
            "n_alike": len(alike) or None,
            "stimuli_per_condition": min(strikes),
            "these_recordings_only": min(strikes) < 2,
        }
    )


def _fit(rows: pd.DataFrame) -> ToldApart:
    listener = pd.factorize(rows["listener"], sort=True)[0]
    stimuli = [pd.factorize(rows[f"stimulus_{end}"], sort=True)[0] for end in ("more", "than")]
    task = str(rows["task"].iloc[0])
    right = rows["right"].to_numpy(float)
    guess = tasks.named(task).guess
    if guess is not None:
        return above_chance.forced_choice(right, listener, stimuli, guess=guess)
    is_different = rows["is_different"].to_numpy(float)
    said_different = np.where(is_different == 1, right, 1 - right)
    return above_chance.same_different(said_different, is_different, listener, stimuli)


def _decided(found: ToldApart, asked: Question, alpha: float) -> tuple[Bounds, Verdict]:
    limits = above_chance.bounds(found, alpha)
    return limits, verdict.decide(
        asked.rule,
        found.heard,
        limits.lower,
        limits.upper,
        delta=asked.smallest_effect,
        n_listeners=found.n_listeners,
    )


def _shares(found: ToldApart, limits: Bounds, guess: float, level: float) -> Interval:
    heard = (found.heard, limits.lower, limits.upper)
    right = [min(1.0, max(0.0, guess + (1 - guess) * value)) for value in heard]
    return Interval(value=right[0], lower=right[1], upper=right[2], coverage=level)


def _others(one: _Fitted, found: ToldApart, word: str, alpha: float) -> Iterator[Sensitivity]:
    """The same question in other ways; none decides."""
    n = found.n_listeners
    if one.with_all is not None:
        again = _decided(one.with_all, one.asked, alpha)[1].word
        yield _other("without exclusions", again, word, one.with_all.p, one.with_all.n_listeners)
    pooled = "supported" if found.p_exact <= alpha else "undecided"
    yield _other("answers pooled over listeners", pooled, word, found.p_exact, n)
    if one.p_beta_binomial is not None:
        said = "supported" if one.p_beta_binomial <= alpha else "undecided"
        yield _other("chance-corrected beta-binomial", said, word, one.p_beta_binomial, n)


def _other(name: str, said: str, word: str, p: float, n_listeners: int) -> Sensitivity:
    return Sensitivity.model_validate(
        {
            "name": name,
            "estimate": None,
            "lower": None,
            "upper": None,
            "p": p,
            "n_listeners": n_listeners,
            "word": said,
            # the tests against guessing know no smallest effect, so they can contradict nothing
            "agrees": None if word == "contradicted" and name != "without exclusions" else said == word,
        }
    )
