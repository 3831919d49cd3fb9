"""Answers set on a scale: which scale a task has, and how keys move the mark."""

from dataclasses import dataclass

from listening.records import tasks as task_list
from listening.records.plan import PlannedAttribute, PlannedTrial
from listening.session.turn import Turn

ADJUSTING_RANGE_DB = (-12.0, 6.0)
ADJUSTING_OFFSET_DB = -6.0  # both sounds are played so much softer, so that there is room upwards


@dataclass(frozen=True)
class Dial:
    """One scale."""

    low: float
    high: float
    step: float
    middle: float
    """Where the mark appears when it is first moved."""


RATING = Dial(0.0, 100.0, 1.0, 50.0)


def dial(attribute: PlannedAttribute, trial: PlannedTrial) -> Dial | None:
    """The scale of a trial's answers; None where one is chosen from a list."""
    task = task_list.named(attribute.task)
    if task.sheet == "gain":
        return Dial(*ADJUSTING_RANGE_DB, step=0.5, middle=trial.start_gain_db)
    return RATING if task.has_marks else None


def n_marks(attribute: PlannedAttribute, trial: PlannedTrial) -> int:
    """How many marks make an answer: one a rated sound, one for an adjustment."""
    task = task_list.named(attribute.task)
    if not task.has_marks:
        return 0
    return 1 if task.sheet == "gain" else len(trial.clips)


def move(turn: Turn, scale: Dial, steps: int) -> float:
    """Move the mark of the turn's row by so many steps; where it stands then."""
    now = turn.values[turn.row]
    start = scale.middle if now is None else now
    # a rating's mark appears in the middle; an adjustment starts from what sounds already
    moved = start if now is None and scale is RATING else start + steps * scale.step
    return put(turn, scale, moved)


def put(turn: Turn, scale: Dial, value: float) -> float:
    """Set the mark of the turn's row, kept to the scale; where it stands then."""
    kept = min(max(value, scale.low), scale.high)
    turn.values[turn.row] = kept
    return kept


def text(values: list[float | None]) -> str:
    """The marks as stored: numbers with a space between, in the order of the trial's clips."""
    return " ".join(f"{value:g}" for value in values if value is not None)
