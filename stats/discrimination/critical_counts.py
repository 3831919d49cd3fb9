"""How many correct answers a forced-choice panel needs, and how large it must be."""

import math
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray
from scipy import special

from stats.errors import StatsError

EQUAL = 1e-12  # relative slack, so that a probability equal to alpha but for rounding counts as reaching it
N_LARGEST = 100_000


def chance_of_at_least(n_correct: int, n_trials: int, share: float) -> float:
    """P(X >= n_correct) of a binomial count, exact.

    Parameters
    ----------
    n_trials : answers in all, 1 or more
    share : chance of each, 0 to 1
    """
    return 1.0 if n_correct <= 0 else float(special.bdtrc(n_correct - 1, n_trials, share))


def chance_of_at_most(n_correct: int, n_trials: int, share: float) -> float:
    """P(X <= n_correct) of a binomial count, exact.

    Parameters
    ----------
    n_trials : answers in all, 1 or more
    share : chance of each, 0 to 1
    """
    return 0.0 if n_correct < 0 else float(special.bdtr(n_correct, n_trials, share))


def min_correct(n_trials: int, *, guess: float, alpha: float = 0.05, two_sided: bool = False) -> int | None:
    """Fewest correct answers that show a difference; None when not even all correct would.

    Parameters
    ----------
    n_trials : int, >= 1
    guess : 0 to 1
        Share correct by guessing: 1/3 triangle, 1/2 duo-trio and 2-AFC, 1/m m-AFC.
    alpha : 0 to 1
    two_sided : bool
        For guess 1/2 only: the larger of the two counts, twice its tail counted.

    Raises
    ------
    StatsError
        Two-sided counts of a task whose guessing rate is not 1/2.

    Source: exact binomial arithmetic as in ISO 4120 (triangle), ISO 10399 (duo-trio), ISO 5495 (paired
    comparison).
    """
    _check(n_trials, guess, alpha)
    if two_sided and guess != 0.5:
        raise StatsError(f"two-sided counts need a guessing rate of 1/2, found {guess:g}")
    limit = alpha / 2 if two_sided else alpha
    count = int(_min_correct(np.array([n_trials]), guess, limit)[0])
    return count if count <= n_trials else None


def max_correct(n_trials: int, *, share: float, alpha: float = 0.05) -> int | None:
    """Most correct answers that still show similarity, a share correct below `share`; None when not even 0
    would.

    Parameters
    ----------
    n_trials : answers in all, 1 or more
    alpha : one-sided error probability, above 0, below 0.5
    """
    _check(n_trials, share, alpha)
    count = int(scipy.stats.binom.ppf(alpha, n_trials, share))
    while count >= 0 and chance_of_at_most(count, n_trials, share) > alpha * (1 + EQUAL):
        count -= 1
    return count if count >= 0 else None


def power(n_trials: int, share: float, *, guess: float, alpha: float = 0.05) -> float:
    """Chance that the exact test shows a difference when the share correct is `share`.

    Parameters
    ----------
    n_trials : answers in all, 1 or more
    guess : share right by guessing, 0 to 1
    alpha : one-sided error probability, above 0, below 0.5
    """
    _check(n_trials, guess, alpha)
    return float(_power(np.array([n_trials]), share, guess, alpha)[0])


@dataclass(frozen=True)
class PanelSize:
    """Trials needed: exact power is a saw-tooth in the number of trials, so there are two answers."""

    n_first: int
    """Smallest number that reaches the power; one trial more may fall short again."""
    n_from: int
    """Smallest number from which the power is never again below the target. Plan with this one."""
    min_correct: int
    """Correct answers needed at n_first."""
    power: float
    """Power at n_first."""


def panel_size(share: float, *, guess: float, alpha: float = 0.05, power: float = 0.8) -> PanelSize:
    """Trials needed to show a difference when the share correct is `share`.

    Parameters
    ----------
    guess : share right by guessing, 0 to 1
    alpha : one-sided error probability, above 0, below 0.5
    power : chance wanted, 0 to 1

    Raises
    ------
    StatsError
        The share is not above the guessing rate, or more than 100,000 trials would be needed.
    """
    _check(1, guess, alpha)
    if not (guess < share <= 1 and 0 < power < 1):
        raise StatsError(
            f"panel size: share {share:g} and power {power:g}; wanted a share above the guessing rate "
            f"{guess:g}, at most 1, and a power between 0 and 1"
        )
    n_near = _normal_size(share, guess, alpha, power)
    if n_near > N_LARGEST:
        raise StatsError(
            f"panel size: more than {N_LARGEST} trials needed to tell a share of {share:g} from {guess:g}; "
            "accept a larger smallest difference"
        )
    # a tooth is shorter than half the panel: past twice the approximate size the power stays above the target
    n_trials = np.arange(1, 2 * n_near + 100)
    reached = _power(n_trials, share, guess, alpha) >= power
    n_first = int(np.argmax(reached)) + 1
    short = np.flatnonzero(~reached)
    n_from = int(short[-1]) + 2 if short.size else 1
    count = int(_min_correct(np.array([n_first]), guess, alpha)[0])
    return PanelSize(n_first, n_from, count, chance_of_at_least(count, n_first, share))


def _normal_size(share: float, guess: float, alpha: float, power: float) -> int:
    """Trials by the normal approximation: near enough to say where to look."""
    reach = -special.ndtri(alpha) * math.sqrt(guess * (1 - guess))
    reach += special.ndtri(power) * math.sqrt(share * (1 - share))
    return max(8, math.ceil((reach / (share - guess)) ** 2))


def _min_correct(n_trials: NDArray[np.int64], guess: float, alpha: float) -> NDArray[np.int64]:
    """Fewest correct per number of trials; n + 1 where no count is enough."""
    return np.asarray(scipy.stats.binom.isf(alpha * (1 + EQUAL), n_trials, guess), dtype=np.int64) + 1


def _power(n_trials: NDArray[np.int64], share: float, guess: float, alpha: float) -> NDArray[np.float64]:
    count = _min_correct(n_trials, guess, alpha)
    reachable = count <= n_trials
    return np.where(reachable, special.bdtrc(np.minimum(count, n_trials) - 1, n_trials, share), 0.0)


def _check(n_trials: int, guess: float, alpha: float) -> None:
    if n_trials < 1 or not 0 < guess < 1 or not 0 < alpha < 1 or math.isnan(alpha):
        raise StatsError(
            f"found {n_trials} trials, share {guess:g}, alpha {alpha:g}; "
            "wanted at least 1 trial, share and alpha between 0 and 1"
        )
