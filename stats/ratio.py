"""The ratio of two estimates, with an interval that knows when there is none."""

import math
from dataclasses import dataclass

from stats import t_interval
from stats.errors import BadData


@dataclass(frozen=True)
class Ratio:
    """A ratio of two estimates and its interval."""

    estimate: float
    lower: float
    upper: float
    """Both infinite when the denominator is not clearly non-zero."""
    bounded: bool
    level: float


def fieller(
    numerator: float,
    denominator: float,
    *,
    numerator_se: float,
    denominator_se: float,
    covariance: float = 0.0,
    df: float = math.inf,
    level: float = 0.95,
) -> Ratio:
    """numerator / denominator with Fieller's interval.

    Raises
    ------
    BadData
        A standard error is negative or not finite, or the denominator is zero.

    Source: Fieller 1954, JRSS B 16(2), 175-185.
    """
    if not (numerator_se >= 0 and denominator_se >= 0 and math.isfinite(numerator_se + denominator_se)):
        raise BadData(f"ratio: standard errors {numerator_se:g} and {denominator_se:g}, wanted finite, >= 0")
    if denominator == 0:
        raise BadData("ratio: the denominator is 0")
    t = t_interval.quantile((1 + level) / 2, df)
    a = denominator**2 - (t * denominator_se) ** 2
    b = numerator * denominator - t**2 * covariance
    c = numerator**2 - (t * numerator_se) ** 2
    estimate = numerator / denominator
    if a <= 0:
        return Ratio(estimate, -math.inf, math.inf, bounded=False, level=level)
    root = math.sqrt(max(b * b - a * c, 0.0))
    return Ratio(estimate, (b - root) / a, (b + root) / a, bounded=True, level=level)
