"""What a pilot tells the main study: how listeners and strikes vary, and what a decibel alone does."""

from collections.abc import Callable
from dataclasses import dataclass

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import contrast, level_slope
from listening.analysis.decide.contrast import ContrastFit
from listening.analysis.opening import key_opening
from listening.errors import StudyError
from listening.records.protocols import protocol as protocol_form
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Question
from listening.records.study import Study
from stats.errors import StatsError
from stats.mixed import marginal_share

CAUTIOUS = (
    0.8  # a spread is planned with its upper limit at this level: a small pilot's own is often too small
)


@dataclass(frozen=True)
class Components:
    """How one question's effect varied in the pilot, log-odds."""

    question: str
    kind: str
    attribute: str
    listeners: int
    answers: int
    spread_listeners: float
    spread_listeners_upper: float
    """Upper 80 % limit; the main study is planned with it."""
    spread_stimuli: float
    order: float
    """Pull towards the sound heard first."""
    logit_per_db: float | None
    """What a decibel of level alone does; None without control pairs."""


def components(
    study: Study, *, now: Callable[[], str], interim: bool = False
) -> tuple[list[Components], list[str]]:
    """Each planned question's components, and why those that are missing could not be had.

    The opening of the key is logged as any other look.

    Raises
    ------
    StudyError
        The pilot was altered, is not complete (and no interim look was asked for), or has no answer.
    """
    at = key_opening.look(study, now=now, interim=interim, why="pilot")
    opened = at.opened
    table = keyed_answers.frame(at.answers, opened.key, opened.manifest)
    found, missing = [], []
    for question in opened.protocol.questions:
        if question.contrast.form != "pair":
            missing.append(
                f"{question.id}: several pairs; a pilot tells spreads by its questions on one pair"
            )
            continue
        rows = keyed_answers.select(table, attribute=question.attribute, presentation=question.presentation)
        try:
            made = contrast.design(rows, more=question.contrast.more, than=question.contrast.than)
            fit = contrast.fit(made)
        except StatsError as error:
            missing.append(f"{question.id}: {error}")
            continue
        slope = level_slope.from_answers(table, question.attribute)
        found.append(_components(question, fit, len(rows), None if slope is None else slope.estimate))
    return found, missing


def assumed(study: Study, question: Question, *, now: Callable[[], str]) -> Assumed:
    """What the pilot lets one assume for a question of the main study.

    The pilot's question on the same attribute and pair is taken; else the first one on the attribute.

    Raises
    ------
    StudyError
        The pilot asked nothing on that attribute; or as `components`.
    """
    found, missing = components(study, now=now)
    pilot_questions = {q.id: q for q in protocol_form.load(study.protocol).questions}
    same = [c for c in found if c.attribute == question.attribute]
    if not same:
        why = f" ({'; '.join(missing)})" if missing else ""
        raise StudyError(f"{study.root}: the pilot has nothing on `{question.attribute}`{why}")
    best = max(same, key=lambda c: pilot_questions[c.question].contrast == question.contrast)
    return Assumed(
        spread_listeners=best.spread_listeners_upper,
        spread_stimuli=best.spread_stimuli,
        order=-best.order,
        source=f"pilot {study.root.name}, {best.listeners} listeners, upper 80 % limit",
    )


def _components(question: Question, fit: ContrastFit, answers: int, slope: float | None) -> Components:
    listeners = len(fit.design.listeners)
    upper = marginal_share.spread_upper(
        fit.spread_listeners, fit.mean_variance_listeners, listeners, alpha=1 - CAUTIOUS
    )
    return Components(
        question=question.id,
        kind=question.kind,
        attribute=question.attribute,
        listeners=listeners,
        answers=answers,
        spread_listeners=fit.spread_listeners,
        spread_listeners_upper=upper,
        spread_stimuli=fit.spread_stimuli,
        order=float(fit.model.estimate[fit.design.names.index(contrast.ORDER)]),
        logit_per_db=slope,
    )
