"""The last answer changed before the next sounds are heard; what was said first stays in the record."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from listening.records.answer import Answer
from listening.session.steps import Step
from listening.session.turn import Turn
from listening.session.view import Stage
from listening.store import revised

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

KEEP_IT = ("take_back", "help", "pause", "leave", "stay")  # acts after which it may still be changed
TAKEN_BACK = "taken back"
MAY_STAND_AT = (
    Stage.TRIAL,
    Stage.TRAINING,
    Stage.INTRODUCTION,
    Stage.COMMENT,
    Stage.BREAK,
    Stage.GOODBYE,
)


@dataclass(frozen=True)
class LastAnswer:
    """A trial that was answered just now, as it stood when the answer was confirmed."""

    step: Step
    turn: Turn


def is_offered(sitting: "Sitting") -> bool:
    """Whether the last answer may be changed now."""
    return sitting.last is not None and sitting.stage in MAY_STAND_AT and not sitting.turn.typed


def remember(sitting: "Sitting") -> LastAnswer | None:
    """The trial under way, if its answer may be changed later."""
    if sitting.step.rehearsal or not sitting.plan.sitting.may_go_back:
        return None
    return LastAnswer(replace(sitting.step, is_again=True), sitting.turn)


def keep(sitting: "Sitting", given: Answer) -> None:
    """Store an answer, or that it was changed; durable when this returns."""
    if sitting.step.is_again:
        sitting.note(revised.REVISED, trial=given.trial, detail=revised.detail(given))
    else:
        sitting.record(given)


def take_back(sitting: "Sitting") -> None:
    """Show the trial again as it was confirmed; until it is confirmed anew the first answer counts."""
    if sitting.last is None:
        return
    step, turn = sitting.last.step, sitting.last.turn
    sitting.last = None
    sitting.note(TAKEN_BACK, trial=sitting_trial(step))
    sitting.go_back_to(step, turn)


def sitting_trial(step: Step) -> str | None:
    """The id of a step's trial."""
    return step.trial.trial if step.trial else None
