"""Whether two sounds differ elsewhere as they do here: two designs hung free, and both on the handlebar."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from listening.metrics.comparison.rows import LOST_DB, LOST_PERCENT, Row


@dataclass(frozen=True)
class Stay:
    """One metric's difference in two places; `lower` and `upper` are 95 % limits of there less here.

    Limits from those of the two differences, which come of other strikes (Zou & Donner 2008, Statistics in
    Medicine 27, 1693, their square-and-add rule); None where one of them has none.
    """

    metric: str
    unit: str
    here: float
    there: float
    change: float
    lower: float | None
    upper: float | None
    inside_repeatability: bool | None
    """Whether the limits hold "no change": strikes alone may change the difference as much."""


def of_rows(here: Sequence[Row], there: Sequence[Row]) -> tuple[Stay, ...]:
    """Every metric that both places have; what is lost says the same as the energies and is left out."""
    again = {row.metric: row for row in there}
    kept = [row for row in here if row.metric in again and row.metric not in (LOST_DB, LOST_PERCENT)]
    return tuple(_stay(row, again[row.metric]) for row in kept)


def _stay(here: Row, there: Row) -> Stay:
    change = there.difference - here.difference
    below = _added(there.difference, there.lower, here.upper, here.difference)
    above = _added(there.upper, there.difference, here.difference, here.lower)
    is_known = below is not None and above is not None
    low, high = change - (below or 0.0), change + (above or 0.0)
    return Stay(
        metric=here.metric,
        unit=here.unit,
        here=here.difference,
        there=there.difference,
        change=change,
        lower=low if is_known else None,
        upper=high if is_known else None,
        inside_repeatability=low <= 0.0 <= high if is_known else None,
    )


def _added(
    one_high: float | None, one_low: float | None, other_high: float | None, other_low: float | None
) -> float | None:
    """Root of the sum of two squared distances; None where an end is not known."""
    if one_high is None or one_low is None or other_high is None or other_low is None:
        return None
    return math.hypot(one_high - one_low, other_high - other_low)
