"""The root of a function between two points, without the time that scipy.optimize takes to load."""

import math
from collections.abc import Callable

from stats.errors import NotConverged


def find(function: Callable[[float], float], low: float, high: float, *, tolerance: float) -> float:
    """A point within `tolerance` of where `function` changes its sign between `low` and `high`.

    Parameters
    ----------
    function : continuous, with different signs at the ends (or zero at one)
    tolerance : above 0; below the spacing of floats it means that spacing

    Raises
    ------
    NotConverged
        The ends have the same sign, or a value is not a number.

    Source: Oliveira & Takahashi 2020, ACM Trans. Math. Softw. 47(1): ITP (k1 = 0.2 / width, k2 = 2,
    n0 = 1): never more than one step beyond bisection.
    """
    at_low, at_high = function(low), function(high)
    if at_low == 0.0 or at_high == 0.0:
        return low if at_low == 0.0 else high
    if not at_low * at_high < 0.0:
        raise NotConverged(f"no change of sign between {low:g} ({at_low:g}) and {high:g} ({at_high:g})")
    sign = math.copysign(1.0, at_high)
    at_low, at_high = sign * at_low, sign * at_high
    width, half = high - low, max(tolerance / 2.0, 2.0 * math.ulp(max(abs(low), abs(high))))
    most = max(0, math.ceil(math.log2(width / (2.0 * half)))) + 1
    for step in range(most + 1):
        if high - low <= 2.0 * half:
            break
        radius = half * 2.0 ** (most - step) - (high - low) / 2.0
        point = _guess(low, high, at_low, at_high, truncated=0.2 / width, radius=radius)
        value = sign * function(point)
        if value == 0.0:
            return point
        if value > 0.0:
            high, at_high = point, value
        else:
            low, at_low = point, value
    return (low + high) / 2.0


def _guess(
    low: float, high: float, at_low: float, at_high: float, *, truncated: float, radius: float
) -> float:
    """Where the straight line crosses zero, pushed to the middle, but no farther from it than `radius`."""
    middle = (low + high) / 2.0
    line = (at_high * low - at_low * high) / (at_high - at_low)
    towards = math.copysign(1.0, middle - line)
    push = truncated * (high - low) ** 2
    point = line + towards * push if push <= abs(middle - line) else middle
    return point if abs(point - middle) <= radius else middle - towards * radius
