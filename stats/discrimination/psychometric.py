"""Share correct as a function of d', for each forced-choice task, and back."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stats.errors import StatsError
from stats.fixed import bracketed_root

FloatArray = NDArray[np.float64]

N_NODES = 160  # Gauss-Legendre over +-REACH standard deviations: error below 1e-14
REACH = 9.0
D_PRIME_MAX = 20.0  # share correct is 1 to the last bit well before this
DERIVATIVE_STEP = 1e-3


@dataclass(frozen=True)
class Task:
    """A forced-choice task: its name, its guessing rate and its psychometric function."""

    name: str
    guess: float
    """Share correct of a listener who hears nothing."""
    share_of: Callable[[FloatArray], FloatArray]

    def share_correct(self, d_prime: ArrayLike) -> FloatArray:
        """Share correct at d', elementwise; negative d' is allowed (reversed in m-AFC, symmetric
        elsewhere)."""
        return self.share_of(np.asarray(d_prime, dtype=np.float64))

    def slope(self, d_prime: float) -> float:
        """Derivative of the share correct at d' (five-point difference, error below 1e-11)."""
        h = DERIVATIVE_STEP
        far, near = (
            self.share_correct([d_prime + 2 * h, d_prime - 2 * h]),
            self.share_correct([d_prime + h, d_prime - h]),
        )
        return float((8 * (near[0] - near[1]) - (far[0] - far[1])) / (12 * h))

    def d_prime(self, share_correct: float) -> float:
        """d' >= 0 that gives this share; 0 at or below the guessing rate, infinite at 1."""
        if share_correct <= self.guess:
            return 0.0
        if share_correct >= 1.0:
            return math.inf
        return bracketed_root.find(
            lambda d: float(self.share_correct(d)) - share_correct, 0.0, D_PRIME_MAX, tolerance=1e-13
        )

    def share_discriminating(self, share_correct: float) -> float:
        """Share of answers not guessed: 0 at the guessing rate, 1 when all are correct."""
        return (share_correct - self.guess) / (1 - self.guess)

    def share_from_discriminating(self, share_discriminating: float) -> float:
        return self.guess + share_discriminating * (1 - self.guess)


@cache
def task(name: str) -> Task:
    """The task named triangle, duo-trio, tetrad, or m-afc with m a number from 2 to 100 (2-afc, 3-afc ...).

    Raises
    ------
    StatsError
        No such task.

    Source: Green & Swets 1966 (m-AFC); David & Trivedi 1962 and Bradley 1963, Biometrics 19 (triangle,
    duo-trio);
    Ennis, Ennis, Palen & O'Mahony 1998, Br. J. Math. Stat. Psychol. 51 (tetrad).
    """
    fixed = {
        "triangle": Task("triangle", 1 / 3, _triangle),
        "duo-trio": Task("duo-trio", 1 / 2, _duo_trio),
        "tetrad": Task("tetrad", 1 / 3, _tetrad),
    }
    if name in fixed:
        return fixed[name]
    count, _, word = name.partition("-")
    if word == "afc" and count.isdecimal() and 2 <= int(count) <= 100:
        m = int(count)
        return Task(name, 1 / m, lambda d: _alternatives(d, m))
    raise StatsError(
        f"task {name!r} is not known; wanted triangle, duo-trio, tetrad, 2-afc, 3-afc ... 100-afc"
    )


@cache
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights for the integral of f(z) phi(z) over the real line."""
    x, w = np.polynomial.legendre.leggauss(N_NODES)
    z = REACH * x
    return z, REACH * w * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


@cache
def _half_nodes() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights for the integral of f(z) phi(z) over z > 0."""
    x, w = np.polynomial.legendre.leggauss(N_NODES)
    z = REACH * (x + 1) / 2
    return z, REACH / 2 * w * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


def _alternatives(d: FloatArray, m: int) -> FloatArray:
    if m == 2:
        return np.asarray(special.ndtr(d / math.sqrt(2)))
    z, w = _nodes()
    return np.asarray(special.ndtr(z + d[..., None]) ** (m - 1) @ w)


def _triangle(d: FloatArray) -> FloatArray:
    z, w = _half_nodes()
    shift = d[..., None] * math.sqrt(2 / 3)
    reach = z * math.sqrt(3)
    return np.asarray(2 * ((special.ndtr(shift - reach) + special.ndtr(-shift - reach)) @ w))


def _duo_trio(d: FloatArray) -> FloatArray:
    a, b = special.ndtr(d / math.sqrt(2)), special.ndtr(d / math.sqrt(6))
    return np.asarray(1 - a - b + 2 * a * b)


def _tetrad(d: FloatArray) -> FloatArray:
    z, w = _nodes()
    here, there = special.ndtr(z), special.ndtr(z - np.abs(d)[..., None])
    return np.asarray(1 - 2 * ((2 * here * there - there**2) @ w))
