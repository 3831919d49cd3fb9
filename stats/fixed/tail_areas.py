"""Tail areas and quantiles of the test distributions, without loading all of scipy.stats."""

import math

from scipy import special


def chi_square_above(statistic: float, df: float) -> float:
    """P(X > statistic) of a chi-square with `df` > 0 degrees of freedom; 1 below 0, NaN without any.

    The function that scipy.stats.chi2.sf stands on: the same to the last digit.
    """
    if not df > 0:
        return math.nan
    return float(special.chdtrc(df, 0.0 if statistic < 0 else statistic))


def chi_square_quantile(share: float, df: float) -> float:
    """Value that a chi-square with `df` degrees of freedom stays below in this share (0 to 1) of cases."""
    return float(2.0 * special.gammaincinv(df / 2.0, share))
