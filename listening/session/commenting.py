"""A comment in the listener's own words, after a trial or at the end; it decides nothing."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from listening.records.plan import Plan, PlannedTrial
from listening.session.view import Stage
from listening.store.store import EventRow

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

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


def type_text(sitting: "Sitting", sign: str) -> bool:
    """One more sign of the comment; False where none is written, or it is full."""
    if sitting.stage is not Stage.COMMENT or not sign.isprintable() or len(sitting.turn.typed) >= LONGEST:
        return False
    sitting.turn.typed += sign
    return True


def keep(sitting: "Sitting") -> None:
    """Write the comment down, without spaces around it; nothing written is kept as nothing."""
    text = " ".join(sitting.turn.typed.split())
    trial = sitting.step.trial.trial if sitting.step.trial else None
    if trial is None or text:
        sitting.note(COMMENT, trial=trial, detail=text if trial else f"{AT_END}|{text}")


def of_events(events: Iterable[EventRow]) -> list[tuple[str, str]]:
    """(trial or `at the end`, text) of each comment that was written."""
    made = []
    for event in events:
        if event.kind == COMMENT:
            text = event.detail if event.trial else event.detail.partition("|")[2]
            made += [(event.trial or AT_END, text)] if text else []
    return made
