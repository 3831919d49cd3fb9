"""The ratio of two estimates, with an interval that knows when there is none."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

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

    Parameters
    ----------
    numerator_se, denominator_se : standard errors
    covariance : of the two
    df : degrees of freedom; infinite: the normal distribution
    level : confidence of the interval, above 0, below 1

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


@dataclass(frozen=True)
class MeanRatio:
    """Geometric mean of one sample over that of another."""

    estimate: float
    lower: float
    upper: float
    df: float
    level: float


def of_geometric_means(one: ArrayLike, other: ArrayLike, *, level: float = 0.95) -> MeanRatio:
    """Ratio of two geometric means, by Student's t on the logarithms, variances unequal.

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1
    one, other : positive values, at least two each

    Raises
    ------
    BadData
        A value is not positive, or a sample has fewer than two.

    Source: Welch 1947, Biometrika 34.
    """
    samples = [np.asarray(values, dtype=np.float64) for values in (one, other)]
    if any(s.ndim != 1 or s.size < 2 or not (np.isfinite(s) & (s > 0)).all() for s in samples):
        raise BadData(
            f"ratio: found {samples[0].size} and {samples[1].size} values; wanted "
            "at least 2 each, all positive"
        )
    logs = [np.log(s) for s in samples]
    estimate = float(np.exp(logs[0].mean() - logs[1].mean()))
    if np.ptp(logs[0]) == 0 and np.ptp(logs[1]) == 0:
        return MeanRatio(estimate, estimate, estimate, np.inf, level)
    parts = [float(log.var(ddof=1)) / log.size for log in logs]
    df = sum(parts) ** 2 / sum(part**2 / (log.size - 1) for part, log in zip(parts, logs, strict=True))
    reach = t_interval.quantile(0.5 + level / 2, df) * math.sqrt(sum(parts))
    centre = float(logs[0].mean() - logs[1].mean())
    return MeanRatio(estimate, math.exp(centre - reach), math.exp(centre + reach), df, level)
