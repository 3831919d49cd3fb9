"""Limits of one parameter by profile likelihood: where the log-likelihood has dropped by a given amount."""

import functools
from collections.abc import Callable
from typing import Literal

import numpy as np
import scipy

from stats import t_interval
from stats.errors import BadData, NotConverged
from stats.fixed import tail_areas

_EXPANSIONS = 60


def drop(level: float, *, df: float = np.inf) -> float:
    """Drop of the log-likelihood at a one-sided limit of confidence `level` (0.5 to 1).

    Half the squared quantile of t with `df` degrees of freedom; infinite df is the usual chi-square.

    Raises
    ------
    BadData
        `level` is not between 0.5 and 1.
    """
    if not 0.5 < level < 1.0:
        raise BadData(f"one-sided level {level}: wanted between 0.5 and 1")
    if np.isinf(df):
        return 0.5 * tail_areas.chi_square_quantile(2.0 * level - 1.0, 1)
    return 0.5 * t_interval.quantile(level, df) ** 2


def limit(
    profile: Callable[[float], float],
    *,
    top: float,
    top_loglik: float,
    fall: float,
    step: float,
    side: Literal["lower", "upper"],
    tolerance: float = 1e-6,
) -> float:
    """Value below (or above) `top` at which profile(value) = top_loglik - fall.

    Parameters
    ----------
    tolerance : of the value found
    profile : log-likelihood maximised over everything else, as a function of the parameter
    step : first stride of the search, e.g. one standard error

    Minus or plus infinity where the profile stays above it for a thousand strides: no limit on that side.

    Raises
    ------
    NotConverged
        A refit on the way failed.
    """
    sign = -1.0 if side == "lower" else 1.0

    @functools.cache  # the search's ends are asked for again when the root is sought between them
    def excess(value: float) -> float:
        return profile(value) - top_loglik + fall

    near, stride = top, max(step, 1e-8)
    for _ in range(_EXPANSIONS):
        far = near + sign * stride
        if excess(far) < 0.0:
            inner, outer = sorted((near, far))
            if excess(near) <= 0.0:
                raise NotConverged("the profile starts below its own limit: the maximum was not found")
            return float(scipy.optimize.brentq(excess, inner, outer, xtol=tolerance, rtol=1e-12))
        near, stride = far, 1.6 * stride
        if abs(far - top) > 1e3 * max(step, 1.0):
            break
    return sign * float("inf")
