"""What became of a planned factor, such as `40 % longer`: the measured ratio beside what was heard."""

from typing import Literal

from listening.records.form import Form
from listening.records.interval import Interval


class FactorFinding(Form):
    """A factor claimed of a measured value; it holds if both the ratio and the heard question bear it."""

    factor: float
    metric: str
    ratio: Interval | None = None
    """Geometric mean of the one condition over that of the other, with two one-sided bounds; null where
    nothing was measured."""
    df: float | None = None
    """Of Student's t on the logarithms, unequal variances (Welch and Satterthwaite)."""
    n_more: int = 0
    n_than: int = 0
    sampled: Literal["strokes", "units"] = "strokes"
    """What the numbers count: strokes of one unit of the product, or units."""
    measured: Literal["supported", "contradicted", "undecided", "no verdict"]
    """The measured half: supported if the lower bound reaches the factor."""
    word: Literal["supported", "contradicted", "undecided", "no verdict"]
    """Both halves together."""
    reason: str
