"""Estimates with a standard error and degrees of freedom: bounds and one-sided tails."""

import math

from scipy import special


def quantile(probability: float, df: float) -> float:
    """Quantile of Student's t; normal where df is infinite."""
    return float(special.ndtri(probability) if math.isinf(df) else special.stdtrit(df, probability))


def upper_tail(t: float, df: float) -> float:
    """Chance that Student's t passes `t`."""
    return float(special.ndtr(-t) if math.isinf(df) else special.stdtr(df, -t))


def of(estimate: float, se: float, df: float, level: float) -> tuple[float, float]:
    """Lower and upper bound that hold `level` between them."""
    reach = quantile((1 + level) / 2, df) * se
    return estimate - reach, estimate + reach
