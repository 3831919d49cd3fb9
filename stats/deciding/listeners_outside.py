"""How many listeners may hear a difference of their own as large as matters: an exact upper confidence limit.

Each listener's own share p is hidden behind a few answers. The test of "at least a share q of listeners has p
outside even chances -+ delta" adds up a score of each listener's count that grows with its distance from one
half. Then the least favourable panel is known: q of the listeners exactly at the border, all others at even
chances. So the chance of a sum as small as the one found is exact for any panel, split in camps or not.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stats.errors import StatsError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

EVEN = 0.5
_STEPS = 400  # of the score, from least to most: a rounded score is still one that grows


@dataclass(frozen=True)
class Counts:
    """What each listener answered on the pair, and what moves their answers besides their own share."""

    chosen: FloatArray
    """(listeners,) times one of the two was chosen; a tie counts half."""
    answers: IntArray
    """(listeners, 2) with it heard first, and second."""
    pull: float
    """Half the difference of the share between heard first and heard second."""
    ties: float
    """Share of answers of no difference."""


def p_at_least(counts: Counts, share: float, *, delta: float, scored_for: float | None = None) -> float:
    """One-sided p-value against `share` of the listeners or more having an own share outside even +- delta.

    Parameters
    ----------
    counts : each listener's choices
    share : 0 to 1, share of listeners
    delta : above 0, up to 0.5: smallest effect that matters, on the share of choices
    scored_for : the share of listeners that the score tells best from none; `share` itself if not given

    Source: most powerful score against even chances, Neyman & Pearson 1933, Phil. Trans. R. Soc. A 231; exact
    distribution by convolution.
    """
    _check(share, delta)
    tuned = share if scored_for is None else scored_for
    kinds, members = np.unique(counts.answers, axis=0, return_inverse=True)
    inner = [_chances(n, EVEN, counts) for n in kinds]
    border = [_chances(n, EVEN + delta, counts) for n in kinds]
    scores = [_score(one, two, tuned) for one, two in zip(inner, border, strict=True)]
    low = min(float(s.min()) for s in scores)
    step = max(max(float(s.max()) for s in scores) - low, 1e-12) / _STEPS
    steps = [np.rint((s - low) / step).astype(np.int64) for s in scores]
    doubled = np.rint(2 * counts.chosen).astype(np.int64)
    found = sum(int(steps[kind][value]) for kind, value in zip(members.ravel(), doubled, strict=True))
    mixed = [(1 - share) * one + share * two for one, two in zip(inner, border, strict=True)]
    return _chance_of_at_most(found, steps, mixed, np.bincount(members.ravel()))


def upper_limit(counts: Counts, alpha: float, *, delta: float, scored_for: float) -> float:
    """Upper confidence limit, at 1 - alpha, of the share of listeners outside even chances +- delta.

    Parameters
    ----------
    counts : each listener's choices
    scored_for : share of listeners that the scores are best for
    """

    from scipy import optimize  # slow to load, and needed here alone

    def above(share: float) -> float:
        return p_at_least(counts, share, delta=delta, scored_for=scored_for) - alpha

    if above(1.0) >= 0:
        return 1.0
    if above(0.0) <= 0:
        return 0.0
    return float(optimize.brentq(above, 0.0, 1.0, xtol=1e-9))


def power(
    listeners: int,
    answers: int,
    *,
    delta: float,
    limit: float,
    alpha: float,
    own: FloatArray | None = None,
    weights: FloatArray | None = None,
) -> float:
    """Chance that a panel is found to have fewer than `limit` of its listeners outside.

    Parameters
    ----------
    delta : smallest effect that matters, as a share above even chances
    alpha : one-sided error probability, above 0, below 0.5
    answers : of each listener, half of them in each order
    own, weights : own shares that listeners may have, and how likely each is; without them all are even
    """
    each = np.array([[answers - answers // 2, answers // 2]])
    counts = Counts(np.zeros(1), each, 0.0, 0.0)
    inner, border = _chances(each[0], EVEN, counts), _chances(each[0], EVEN + delta, counts)
    score = _score(inner, border, limit)
    step = max(float(np.ptp(score)), 1e-12) / _STEPS
    steps = np.rint((score - score.min()) / step).astype(np.int64)
    under_null = _sum_chances([steps], [(1 - limit) * inner + limit * border], [listeners])
    actual = inner
    if own is not None and weights is not None:
        actual = np.sum([w * _chances(each[0], p, counts) for p, w in zip(own, weights, strict=True)], axis=0)
    if_so = _sum_chances([steps], [actual], [listeners])
    passes = np.cumsum(under_null) <= alpha
    return float(min(1.0, if_so[passes].sum()))


def _chances(answers: IntArray, share: float, counts: Counts) -> FloatArray:
    """Chances of 0, 1, 2, ... half choices among a listener's answers, orders pulling apart."""
    made = np.ones(1)
    for n, sign in zip(answers, (1.0, -1.0), strict=True):
        one = _one_answer(float(np.clip(share + sign * counts.pull, 0.0, 1.0)), counts.ties)
        for _ in range(int(n)):
            made = np.convolve(made, one)
    return made


def _one_answer(share: float, ties: float) -> FloatArray:
    """Chances of not chosen, no difference, chosen, with this share when a tie counts half."""
    if ties == 0.0:
        return np.array([1 - share, 0.0, share])
    ties = min(ties, 2 * min(share, 1 - share))
    return np.array([1 - share - ties / 2, ties, share - ties / 2])


def _score(inner: FloatArray, border: FloatArray, tuned: float) -> FloatArray:
    """Log-likelihood ratio, least favourable listener to even one, made to grow with the distance."""
    both = (border + border[::-1]) / 2
    even = (inner + inner[::-1]) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(even > 0, both / even, 0.0)
    score = np.log1p(tuned * (np.minimum(ratio, 1e12) - 1))
    middle = (score.size - 1) / 2
    distance = np.abs(np.arange(score.size) - middle)
    by_distance = np.argsort(distance, kind="stable")
    grown = np.empty_like(score)
    grown[by_distance] = np.maximum.accumulate(score[by_distance])
    return np.maximum(grown, grown[::-1])


def _chance_of_at_most(
    found: int, steps: list[IntArray], chances: list[FloatArray], members: IntArray
) -> float:
    total = _sum_chances(steps, chances, [int(n) for n in members])
    return float(np.clip(total[: found + 1].sum(), 0.0, 1.0))


def _sum_chances(steps: list[IntArray], chances: list[FloatArray], members: list[int]) -> FloatArray:
    """Chances of each sum of steps over all listeners, by discrete Fourier transform."""
    size = 1 + sum(n * int(step.max()) for n, step in zip(members, steps, strict=True))
    length = 1 << math.ceil(math.log2(max(size, 2)))
    spectrum = np.ones(length // 2 + 1, dtype=complex)
    for n, step, chance in zip(members, steps, chances, strict=True):
        spectrum *= np.fft.rfft(np.bincount(step, chance), length) ** n
    return np.asarray(np.maximum(np.fft.irfft(spectrum, length)[:size], 0.0))


def _check(share: float, delta: float) -> None:
    if not 0 <= share <= 1:
        raise StatsError(f"listeners outside: share of listeners {share:g}, wanted 0 to 1")
    if not 0 < delta <= EVEN:
        raise StatsError(f"listeners outside: smallest effect {delta:g}, wanted above 0, up to 0.5")
