"""Answers set on a scale: which scale a task has, and how keys move the mark."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial
from listening.records.kinds import tasks as task_list
from listening.session.answering.turn import Turn

ADJUSTING_RANGE_DB = (-12.0, 6.0)
POINT = "."
ADJUSTING_OFFSET_DB = -6.0  # both sounds are played so much softer, so that there is room upwards


@dataclass(frozen=True)
class Dial:
    """One scale."""

    low: float
    high: float
    step: float
    middle: float
    """Where the mark stands before it is moved."""
    appears: bool = True
    """Whether the first key only lets the mark appear there; an adjustment starts from what sounds."""

    @property
    def decimals(self) -> int:
        """Digits behind the point that a mark may have."""
        return 0 if self.step >= 1 else 1

    def has(self, value: float) -> bool:
        """Whether a mark may stand at this number."""
        return self.low <= value <= self.high and abs(value - self.rounded(value)) < 1e-9

    def text(self, value: float) -> str:
        """A mark as it is shown."""
        return f"{value:.{self.decimals}f}" if self.decimals else f"{value:g}"

    def rounded(self, value: float) -> float:
        """The nearest place for a mark, kept to the scale."""
        kept = min(max(value, self.low), self.high)
        return round(round(kept / self.step) * self.step, self.decimals or None) + 0.0


def dial(attribute: PlannedAttribute, trial: PlannedTrial) -> Dial | None:
    """The scale of a trial's answers; None where one is chosen from a list."""
    task = task_list.named(attribute.task)
    if task.sheet == "gain":
        return Dial(*ADJUSTING_RANGE_DB, step=0.5, middle=trial.start_gain_db, appears=False)
    if task.marks is None:
        return None
    low, high, step = task.marks
    return Dial(low, high, step, (low + high) / 2)


def n_marks(attribute: PlannedAttribute, trial: PlannedTrial) -> int:
    """How many marks make an answer: one a rated sound, one for an adjustment."""
    task = task_list.named(attribute.task)
    if not task.has_marks:
        return 0
    return 1 if task.sheet == "gain" else len(trial.clips)


def moved(turn: Turn, scale: Dial, steps: int) -> Turn:
    """Move the mark of the turn's row by so many steps."""
    now = turn.values[turn.row]
    start = scale.middle if now is None else now
    return put(turn, scale, start if now is None and scale.appears else start + steps * scale.step)


def put(turn: Turn, scale: Dial, value: float) -> Turn:
    """Set the mark of the turn's row, kept to the scale."""
    kept = scale.rounded(value) if scale.appears else min(max(value, scale.low), scale.high)
    return replace(turn, values=(*turn.values[: turn.row], kept, *turn.values[turn.row + 1 :]))


def text(values: Sequence[float | None]) -> str:
    """The marks as stored: numbers with a space between, in the order of the trial's clips."""
    return " ".join(f"{value:g}" for value in values if value is not None)
