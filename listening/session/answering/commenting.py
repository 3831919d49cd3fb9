"""A comment in the listener's own words, after a trial or at the end; it decides nothing."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from listening.records.dealt.plan import Plan, PlannedTrial
from listening.session.showing.view import Stage
from listening.store.store import EventRow

if TYPE_CHECKING:
    from listening.session.state import State

COMMENT = "comment"  # the event
AT_END = "at the end"
EACH_TRIAL, END = "each trial", "end"  # what a protocol asks for
LONGEST = 500


def wanted_after(plan: Plan, together: Sequence[PlannedTrial]) -> PlannedTrial | None:
    """The trial after which a comment may be written, of those about the same sounds; None: after none."""
    last = together[-1]
    return last if plan.sitting.comments == EACH_TRIAL and not last.practice else None


def is_at_end(plan: Plan) -> bool:
    """Whether one comment may be written before the goodbye."""
    return plan.sitting.comments == END


def is_over(trial: PlannedTrial | None, answered: Iterable[str], done: Iterable[str]) -> bool:
    """Whether it is too late after a stop: a comment belongs to the trial answered just before."""
    return AT_END in done if trial is None else trial.trial in answered


def typed(state: "State", signs: str) -> "State | None":
    """The comment with more signs; None where none is written, or it would be too long."""
    is_full = len(state.turn.typed) + len(signs) > LONGEST
    if state.stage is not Stage.COMMENT or not signs.isprintable() or is_full:
        return None
    return state.turned(typed=state.turn.typed + signs)


def of_events(events: Iterable[EventRow]) -> list[tuple[str, str]]:
    """(trial or `at the end`, text) of each comment that was written."""
    made = []
    for event in events:
        if event.kind == COMMENT:
            text = event.detail if event.trial else event.detail.partition("|")[2]
            made += [(event.trial or AT_END, text)] if text else []
    return made
