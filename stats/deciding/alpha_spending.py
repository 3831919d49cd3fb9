"""Looks at the data before the planned end: how much error each may spend, and the bound it must pass."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from stats.errors import StatsError
from stats.fixed import bracketed_root

FloatArray = NDArray[np.float64]
Spending = Literal["O'Brien-Fleming", "Pocock"]

_REACH = 9.0  # standard deviations of the running sum that are integrated over
_PANELS, _NODES = 20, 16  # composite Gauss-Legendre; error of a crossing probability below 1e-8
_FURTHEST_Z = 38.0  # no bound beyond: its tail is below the smallest double


@dataclass(frozen=True)
class Bounds:
    """What each look must pass so that all of them together err with probability alpha at most."""

    fractions: FloatArray
    """Information at each look as a share of the planned end."""
    spent: FloatArray
    """Error probability spent up to and with each look."""
    z: FloatArray
    nominal_alpha: FloatArray
    """One-sided tail beyond z (both tails where two-sided): the alpha to test with at that look."""


def spent(kind: Spending, fraction: float, alpha: float, *, sides: int = 1) -> float:
    """Error probability that may be spent up to a share of the information, 0 to 1.

    Parameters
    ----------
    kind : form of the spending
    fraction : share of the information, 0 to 1
    alpha : error probability of all looks together
    sides : 1 or 2

    Raises
    ------
    StatsError
        An unknown form.

    Source: Lan & DeMets 1983, Biometrika 70, 659-663: the forms of O'Brien-Fleming and Pocock type.
    """
    if kind not in get_args(Spending):
        raise StatsError(f"spending rule {kind!r}, wanted one of {', '.join(get_args(Spending))}")
    if fraction <= 0:
        return 0.0
    fraction = min(fraction, 1.0)
    if kind == "Pocock":
        return alpha * float(np.log1p((np.e - 1) * fraction))
    # a two-sided alpha is twice the one-sided rule at alpha / 2
    tail = alpha / sides
    return sides * 2 * float(ndtr(ndtri(tail / 2) / np.sqrt(fraction)))


def bounds(fractions: Sequence[float], alpha: float, kind: Spending, *, sides: int = 1) -> Bounds:
    """Bounds for looks at these shares of the planned information.

    Parameters
    ----------
    kind : form of the spending
    fractions : increasing, above 0; a last one below 1 leaves error unspent
    alpha : one-sided error rate, or two-sided with sides=2

    Raises
    ------
    StatsError
        The shares do not increase, or alpha is not between 0 and 0.5.

    Source: Lan & DeMets 1983; recursive integration of Armitage, McPherson & Rowe 1969, JRSS A 132.
    """
    times = _checked(fractions, alpha, sides)
    total = np.array([spent(kind, t, alpha, sides=sides) for t in times])
    steps = np.diff(total, prepend=0.0)
    z = np.zeros(times.size)
    walk = _Walk(sides)
    for look, (time, step) in enumerate(zip(times, steps, strict=True)):
        z[look] = walk.bound(time, step)
        walk.go_on(time, z[look])
    return Bounds(times, total, z, sides * ndtr(-z))


def spent_anew(fractions: Sequence[float], alpha: float, kind: Spending) -> float:
    """What the last look may spend by itself: an alpha for it that holds however the looks go together.

    `bounds` supposes that a look has all that the looks before it had. Where answers were taken out between
    two looks they share less, and its alpha would let both together err too often (Pocock, everybody of a
    look at three quarters replaced: 6.7 instead of 5 in 100).

    Parameters
    ----------
    fractions : shares of the information at each look, rising to 1
    alpha : error probability of all looks together
    kind : form of the spending

    Raises
    ------
    StatsError
        The shares do not increase, or alpha is not between 0 and 0.5.

    Source: Bonferroni's inequality on the error that Lan & DeMets 1983 leave each look.
    """
    times = _checked(fractions, alpha, 1)
    before = spent(kind, float(times[-2]), alpha) if times.size > 1 else 0.0
    return spent(kind, float(times[-1]), alpha) - before


def crossing(
    fractions: Sequence[float], z: Sequence[float], *, drift: float = 0.0, sides: int = 1
) -> FloatArray:
    """Probability that each look is the first to pass its bound.

    Parameters
    ----------
    fractions : shares of the information, rising to 1
    sides : 1 or 2
    drift : expected z at the full information; 0 is no effect
    """
    times = _checked(fractions, 0.05, sides)
    walk = _Walk(sides, drift)
    first = np.zeros(times.size)
    for look, (time, bound) in enumerate(zip(times, z, strict=True)):
        first[look] = walk.beyond(time, bound)
        walk.go_on(time, bound)
    return first


class _Walk:
    """The running sum of the evidence on paths that passed no bound so far, as a density on nodes."""

    def __init__(self, sides: int, drift: float = 0.0) -> None:
        self.sides, self.drift = sides, drift
        self.time = 0.0
        self.nodes: FloatArray = np.zeros(1)
        self.mass: FloatArray = np.ones(1)

    def beyond(self, time: float, z: float) -> float:
        """Probability of a path that goes on until `time` and passes z there."""
        sd = np.sqrt(time - self.time)
        middle = self.nodes + self.drift * (time - self.time)
        edge = z * np.sqrt(time)
        tails = ndtr((middle - edge) / sd)
        if self.sides == 2:
            tails = tails + ndtr((-edge - middle) / sd)
        return float(self.mass @ tails)

    def bound(self, time: float, probability: float) -> float:
        """The z that is passed with this probability."""
        if self.beyond(time, _FURTHEST_Z) >= probability:
            return _FURTHEST_Z
        lowest = 0.0 if self.sides == 2 else -_FURTHEST_Z
        return bracketed_root.find(
            lambda z: self.beyond(time, z) - probability, lowest, _FURTHEST_Z, tolerance=1e-12
        )

    def go_on(self, time: float, z: float) -> None:
        """Leave out the paths that passed z at `time`."""
        sd = np.sqrt(time - self.time)
        middle = self.drift * time
        top = min(z * np.sqrt(time), middle + _REACH * np.sqrt(time))
        bottom = middle - _REACH * np.sqrt(time)
        if self.sides == 2:
            bottom = max(bottom, -z * np.sqrt(time))
        nodes, weights = _composite(bottom, max(top, bottom + 1e-9))
        steps = (nodes[:, None] - self.nodes[None, :] - self.drift * (time - self.time)) / sd
        density = np.exp(-0.5 * steps**2) @ self.mass / (sd * np.sqrt(2 * np.pi))
        self.time, self.nodes, self.mass = time, nodes, density * weights


def _composite(bottom: float, top: float) -> tuple[FloatArray, FloatArray]:
    x, w = np.polynomial.legendre.leggauss(_NODES)
    edges = np.linspace(bottom, top, _PANELS + 1)
    half = (edges[1] - edges[0]) / 2
    nodes = (edges[:-1, None] + half * (x + 1)).ravel()
    return nodes, np.tile(w * half, _PANELS)


def _checked(fractions: Sequence[float], alpha: float, sides: int) -> FloatArray:
    times = np.asarray(fractions, dtype=float)
    if times.size == 0 or not np.all(np.diff(times, prepend=0.0) > 0):
        raise StatsError(f"looks at {list(fractions)} of the information: wanted shares that increase from 0")
    if not 0 < alpha < 0.5 or sides not in (1, 2):
        raise StatsError(f"alpha {alpha:g} with {sides} sides, wanted 0 to 0.5 with 1 or 2")
    return times
