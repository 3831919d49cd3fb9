"""A derivative with an estimate of its own error: central differences extrapolated to a step of zero.

Source: Ridders 1982, Adv. Eng. Software 4(2), 75-76 (Richardson's extrapolation, until rounding takes over).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

SHRINK = 1.6
ROWS = 10
NOISE = 2e-15  # of the function's value, relative: some ten roundings
NEEDED = 1e-6
"""Relative error above which the derivative could not tell right from wrong."""


@dataclass(frozen=True)
class Slope:
    value: np.ndarray
    error: np.ndarray

    def check(self, found: object, *, inexact: float = 1e-11) -> None:
        """Raise AssertionError unless `found` is the slope, to ten times the error, itself small.

        inexact : relative error that `found` may have of its own, its rounding if not given
        """
        size = np.maximum(1.0, np.abs(self.value))
        assert (self.error < NEEDED * size).all(), f"the slope is known to {self.error.max():.1e} only"
        apart = np.abs(np.asarray(found) - self.value)
        assert (apart <= 10.0 * self.error + inexact * size).all(), (
            f"found {found}, wanted {self.value} to {self.error}"
        )


def slope(function: Callable[[float], object], *, step: float = 0.05) -> Slope:
    """Derivative at 0 of a function of one number, scalar or array.

    step : to start with; the function must be smooth that far to both sides
    """
    last: list[np.ndarray] = []
    best, error = np.nan, np.inf
    for row in range(ROWS):
        h = step / SHRINK**row
        up, down = np.asarray(function(h), float), np.asarray(function(-h), float)
        line = [(up - down) / (2.0 * h)]
        rounding = NOISE * np.maximum(np.abs(up), np.abs(down)) / h
        power = 1.0
        for older in last:
            power *= SHRINK**2
            line.append((power * line[-1] - older) / (power - 1.0))
            here = np.maximum(np.abs(line[-1] - line[-2]), np.abs(line[-1] - older)) + rounding
            best, error = np.where(here <= error, line[-1], best), np.minimum(here, error)
        last = line
    return Slope(np.asarray(best), np.asarray(error))
