"""Bootstrap and permutation over listeners, who are what a panel samples."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from stats.errors import BadData, StatsError
from stats.fixed.likelihood import FloatArray, IntArray
from stats.repeats.refits import Progress, run, seeds

FAILED_SHARE = 0.05  # more failed refits than this make the interval one of the refits that worked


@dataclass(frozen=True)
class Bootstrap:
    """Bootstrap distribution of k numbers."""

    estimate: FloatArray
    """(k,) on the listeners as they are."""
    replicates: FloatArray
    """(draws, k) without the failed ones."""
    lower: FloatArray
    upper: FloatArray
    level: float
    n_failed: int
    method: str

    @property
    def se(self) -> FloatArray:
        return np.asarray(self.replicates.std(axis=0, ddof=1))


@dataclass(frozen=True)
class Permutation:
    """How unusual a number is when each listener's labels might as well be swapped."""

    statistic: float
    p: float
    n_draws: int
    exact: bool
    """Whether all swaps were gone through instead of a random part."""


def bootstrap(
    statistic: Callable[[IntArray], FloatArray],
    n_listeners: int,
    *,
    seed: int,
    n_draws: int = 1999,
    level: float = 0.95,
    method: Literal["percentile", "accelerated"] = "percentile",
    where: int = 1,
    on_progress: Progress | None = None,
) -> Bootstrap:
    """Interval of a statistic when listeners are drawn anew with replacement.

    Parameters
    ----------
    seed : of the draws; the same seed gives the same numbers
    n_draws : how many draws, 1 or more
    level : confidence of the interval, above 0, below 1
    on_progress : called with the draws done and all of them
    statistic : takes (n,) numbers of listeners, some repeated, and gives (k,) numbers; a listener drawn
    twice must
        count as two listeners. May raise StatsError where a draw cannot be fitted.
    method : "accelerated" corrects bias and skewness with n_listeners further fits (BCa)
    where : see `run.run`

    Raises
    ------
    StatsError
        More than 5 % of the draws could not be fitted.

    Source: Efron & Tibshirani 1993, An Introduction to the Bootstrap, chapters 13 and 14.
    """
    if n_listeners < 2 or not 0 < level < 1:
        raise BadData(f"bootstrap: {n_listeners} listeners, level {level:g}; wanted at least 2, and 0 to 1")
    everyone = np.arange(n_listeners)
    estimate = np.atleast_1d(np.asarray(statistic(everyone), dtype=np.float64))

    def draw(rng: np.random.Generator) -> FloatArray | None:
        return _try(statistic, rng.integers(0, n_listeners, n_listeners))

    drawn = run(draw, seeds(seed, n_draws), where, on_progress=on_progress)
    kept = [one for one in drawn if one is not None]
    if len(kept) < (1 - FAILED_SHARE) * n_draws:
        raise StatsError(
            f"bootstrap: {n_draws - len(kept)} of {n_draws} draws could not be fitted, at most "
            f"{100 * FAILED_SHARE:g} % may fail; simplify the model or use its own interval"
        )
    replicates = np.array(kept)
    tails = np.full((2, estimate.size), [[(1 - level) / 2], [(1 + level) / 2]])
    if method == "accelerated":
        without = np.array([statistic(np.delete(everyone, one)) for one in everyone]).reshape(n_listeners, -1)
        tails = _accelerated(estimate, replicates, without, level)
    elif method != "percentile":
        raise BadData(f"bootstrap: method is {method!r}, wanted percentile or accelerated")
    bounds = np.array([np.quantile(replicates[:, j], tails[:, j]) for j in range(estimate.size)]).T
    return Bootstrap(estimate, replicates, bounds[0], bounds[1], level, n_draws - len(kept), method)


def permutation(
    statistic: Callable[[FloatArray], float],
    n_listeners: int,
    *,
    seed: int,
    n_draws: int = 9999,
    alternative: Literal["two-sided", "greater", "less"] = "two-sided",
    where: int = 1,
    on_progress: Progress | None = None,
) -> Permutation:
    """Test that nothing differs between two conditions that each listener judged.

    Parameters
    ----------
    n_listeners : 2 or more
    seed : of the draws; the same seed gives the same numbers
    alternative : on which side the statistic may lie
    on_progress : called with the draws done and all of them
    statistic : takes (n,) signs, +1 or -1
        Gives the number with the two conditions swapped for the listeners of sign -1.
    n_draws : random swaps; where all 2^n swaps are fewer, they are gone through and the p-value is exact

    Raises
    ------
    BadData
        Too few listeners, or an unknown alternative.

    Source: Fisher 1935, The Design of Experiments, section 21; Phipson & Smyth 2010, Stat. Appl. Genet. Mol.
    Biol. 9, for counting the observed labelling.
    """
    if n_listeners < 1 or alternative not in ("two-sided", "greater", "less"):
        raise BadData(f"permutation: {n_listeners} listeners, alternative {alternative!r}")
    observed = float(statistic(np.ones(n_listeners)))
    exact = 2**n_listeners <= n_draws + 1
    if exact:
        masks = np.arange(2**n_listeners)[:, None] >> np.arange(n_listeners) & 1
        values = np.array([statistic(1.0 - 2.0 * mask) for mask in masks])
    else:

        def draw(rng: np.random.Generator) -> float:
            return float(statistic(rng.choice([-1.0, 1.0], n_listeners)))

        values = np.array(run(draw, seeds(seed, n_draws), where, on_progress=on_progress))
    turned = {"two-sided": np.abs, "greater": np.positive, "less": np.negative}[alternative]
    slack = 1e-12 * (1 + abs(observed))  # ties but for rounding count as reached
    reached = int(np.count_nonzero(turned(values) >= turned(np.float64(observed)) - slack))
    p = reached / values.size if exact else (reached + 1) / (values.size + 1)
    return Permutation(observed, p, values.size, exact)


def _try(statistic: Callable[[IntArray], FloatArray], listeners: IntArray) -> FloatArray | None:
    try:
        found = np.atleast_1d(np.asarray(statistic(listeners), dtype=np.float64))
    except StatsError:
        return None
    return found if np.isfinite(found).all() else None


def _accelerated(
    estimate: FloatArray, replicates: FloatArray, without: FloatArray, level: float
) -> FloatArray:
    """(2, k) quantiles to read off, corrected for bias and skewness."""
    below = (replicates < estimate).mean(axis=0) + 0.5 * (replicates == estimate).mean(axis=0)
    bias = special.ndtri(np.clip(below, 1e-9, 1 - 1e-9))
    gap = without.mean(axis=0) - without
    spread = (gap**2).sum(axis=0)
    skew = np.where(spread > 0, (gap**3).sum(axis=0) / (6 * np.where(spread > 0, spread, 1.0) ** 1.5), 0.0)
    z = bias + special.ndtri(np.array([[(1 - level) / 2], [(1 + level) / 2]]))
    return np.asarray(special.ndtr(bias + z / (1 - skew * z)))
