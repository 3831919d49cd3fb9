"""What the answers go with: measured properties, level against the rest, heard against measured."""

from typing import Literal

from listening.records.form import Form
from listening.records.interval import Interval


class CovariateSlope(Form):
    """What one measured property adds, the others held: explanation only."""

    name: Literal["level", "brightness", "decay"]
    metric: str
    per: str
    """The step that the slope belongs to: `1 dB`, `doubling`."""
    slope: Interval
    p: float
    alone: Interval | None = None
    """With no other property in the model."""


class Explanation(Form):
    """The explaining model of one attribute and presentation."""

    attribute: str
    presentation: str
    n_answers: int
    slopes: tuple[CovariateSlope, ...]
    note: str = ""


class SideBySide(Form):
    """A planned contrast under both presentations, before any level correction."""

    question: str
    as_recorded: Interval | None
    matched: Interval | None
    explained_by_level: Interval | None = None
    """Share of the as-recorded effect that is gone after matching."""
    note: str = ""


class HeardMeasured(Form):
    """One metric against the heard strengths of one attribute and presentation, over conditions."""

    attribute: str
    presentation: str
    metric: str
    per: str
    n_conditions: int
    correlation: Interval
    slope: Interval
    """Log-odds of strength for one step of the metric."""
    left_out_error: float
    """Root mean square error of each condition's strength predicted from the others, log-odds."""
    is_best: bool
    """Smallest error of all metrics tried on this set."""
