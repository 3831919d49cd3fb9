"""Answers in which level alone makes the difference, drawn without the project's own simulation.

A listener's log-odds move with the level difference as the shape says; the two sounds differ by a residual,
control pairs by their gains, and in nothing else. Whoever calls one of the sounds brighter is wrong.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stats.deciding.planned_pair import Comparisons

FloatArray = NDArray[np.float64]
Shape = Callable[[FloatArray], FloatArray]


def saturating(db: FloatArray) -> FloatArray:
    """All of it within 3 dB."""
    return np.tanh(db / 3)


def step(db: FloatArray) -> FloatArray:
    """Nothing below 1 dB, all of it above."""
    return np.sign(db) * (np.abs(db) > 1)


def straight(db: FloatArray) -> FloatArray:
    return db / 3


def at_once(db: FloatArray) -> FloatArray:
    """All of it however small the difference."""
    return np.tanh(db / 0.2)


@dataclass(frozen=True)
class LevelTruth:
    """How level moves answers, what is left of it, and which control pairs were heard."""

    name: str
    shape: Shape = saturating
    mean: float = 1.5
    """Log-odds at full effect; below 0 the softer one is chosen."""
    sd: float = 0.6
    residual_db: float = 1.5
    residual_sd: float = 0.0
    """Of each strike's level about its sound's."""
    gains_db: tuple[float, ...] = (3.0, 6.0)
    direct: int = 18
    repeats: int = 6
    """Of each control gain, for each listener."""
    strike_sd: float = 0.2
    order: float = 0.3


LEVEL_TRUTHS = (
    LevelTruth("saturates, gains 3 and 6"),
    LevelTruth("saturates at once, gain as the residual", shape=at_once, gains_db=(1.5,)),
    LevelTruth("step at 1 dB, gain as the residual", shape=step, gains_db=(1.5, 3.0)),
    LevelTruth("straight, strong", shape=straight, mean=2.0, gains_db=(1.6, 3.0)),
    LevelTruth("softer is chosen", mean=-1.5, residual_db=-1.5),
    LevelTruth("strikes' levels differ", residual_sd=0.5, gains_db=(1.5, 3.0), residual_db=0.7),
    LevelTruth(
        "level even on average, a step", shape=step, residual_db=0.0, residual_sd=0.8, gains_db=(2.5,)
    ),
    LevelTruth("no gain high enough", residual_db=4.0, gains_db=(1.0, 2.0), shape=straight, mean=1.0),
    LevelTruth("two control pairs each", repeats=2),
    LevelTruth("listeners go either way", mean=0.3, sd=2.0, residual_db=1.5),
)


def draw(truth: LevelTruth, *, listeners: int, strikes: int, rng: np.random.Generator) -> Comparisons:
    """One study: sounds a and b that differ by the residual, and control pairs of a."""
    size = rng.normal(truth.mean, truth.sd, listeners)
    pull = rng.normal(truth.order, 0.2, listeners)
    own_level = rng.normal(0, truth.residual_sd, (2, strikes))
    effect = rng.normal(0, truth.strike_sd, (2, strikes))
    rows = []
    for listener in range(listeners):
        for trial in range(truth.direct):
            turn = trial + listener
            b, a = turn % strikes, (turn // strikes) % strikes
            level = truth.residual_db + own_level[0, b] - own_level[1, a]
            first = 1 if (trial + turn // strikes**2 * (strikes + 1)) % 2 else -1
            rows.append((listener, 1, b, a, first, level, effect[0, b] - effect[1, a]))
        for gain in truth.gains_db:
            rows += [(listener, 0, 0, 0, 1 - 2 * (k % 2), gain, 0.0) for k in range(truth.repeats)]
    who, is_direct, b, a, first, level, strike = np.array(rows).T
    logit = size[who.astype(int)] * truth.shape(level) + strike + pull[who.astype(int)] * first
    more = (rng.random(who.size) < special.expit(logit)).astype(float)
    in_front = first > 0
    name = np.where(is_direct == 1, "b", "a")
    strikes_of = np.where(in_front, b, a), np.where(in_front, a, b)
    return Comparisons(
        listener=who.astype(int).astype(str),
        first=np.where(in_front, name, "a"),
        second=np.where(in_front, "a", name),
        chosen=np.where(in_front, more, 1 - more),
        strike_first=strikes_of[0].astype(int).astype(str),
        strike_second=strikes_of[1].astype(int).astype(str),
        level_db={"level_db": np.where(in_front, level, -level)},
    )
