"""Two one-sided tests: is an effect small enough not to matter?"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stats.errors import StatsError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Equivalence:
    """Both one-sided tests against the bounds, and the interval that says the same."""

    estimate: float
    low: float
    high: float
    """Bounds: the effect is taken as equivalent when it lies between them."""
    p_low: float
    """p-value against an effect at or below `low`."""
    p_high: float
    """p-value against an effect at or above `high`."""
    lower: float
    upper: float
    """The (1 - 2 alpha) interval; for `exact` and `t` it lies inside the bounds exactly when both tests
    reject."""
    alpha: float
    n: int
    method: str

    @property
    def p(self) -> float:
        return max(self.p_low, self.p_high)

    @property
    def is_equivalent(self) -> bool:
        return self.p < self.alpha


def coefficient(
    estimate: float,
    se: float,
    *,
    low: float,
    high: float,
    df: float = math.inf,
    alpha: float = 0.05,
    n: int = 0,
) -> Equivalence:
    """Two one-sided t-tests on a model coefficient or contrast.

    Parameters
    ----------
    estimate : coefficient or contrast
    low : lower bound of what counts as equivalent
    high : upper bound of it, above `low`
    alpha : one-sided error probability, above 0, below 0.5
    se : float, > 0
    df : float, > 0
        Degrees of freedom; infinite gives the normal test.
    n : int
        Carried into the result, not used.

    Raises
    ------
    StatsError
        Bounds out of order, or a number out of range.

    Source: Schuirmann 1987, J. Pharmacokinet. Biopharm. 15, 657-680.
    """
    _check_bounds(low, high, alpha)
    if not (math.isfinite(estimate) and math.isfinite(se) and se > 0 and df > 0):
        raise StatsError(
            f"equivalence: estimate {estimate:g}, standard error {se:g}, df {df:g}; "
            "wanted finite numbers, standard error and df above 0"
        )
    half_width = -float(special.stdtrit(df, alpha) if math.isfinite(df) else special.ndtri(alpha)) * se
    return Equivalence(
        estimate=estimate,
        low=low,
        high=high,
        p_low=_t_upper_tail((estimate - low) / se, df),
        p_high=_t_upper_tail((high - estimate) / se, df),
        lower=estimate - half_width,
        upper=estimate + half_width,
        alpha=alpha,
        n=n,
        method="t" if math.isfinite(df) else "normal",
    )


def mean(values: ArrayLike, *, low: float, high: float, alpha: float = 0.05) -> Equivalence:
    """Two one-sided tests on one mean; give paired differences for two conditions judged by the same
    listeners.

    values : (n,) array, n >= 2, not all equal

    Parameters
    ----------
    low : lower bound of what counts as equivalent
    high : upper bound of it, above `low`
    alpha : one-sided error probability, above 0, below 0.5
    """
    sample = _sample(values)
    se = float(np.std(sample, ddof=1)) / math.sqrt(sample.size)
    return coefficient(
        float(np.mean(sample)), se, low=low, high=high, df=sample.size - 1, alpha=alpha, n=sample.size
    )


def two_means(
    first: ArrayLike, second: ArrayLike, *, low: float, high: float, alpha: float = 0.05
) -> Equivalence:
    """Two one-sided tests on mean(first) - mean(second) of separate groups with unequal variances.

    first, second : (n1,), (n2,) arrays, at least 2 values each

    Parameters
    ----------
    low : lower bound of what counts as equivalent
    high : upper bound of it, above `low`
    alpha : one-sided error probability, above 0, below 0.5

    Raises
    ------
    StatsError
        No spread within either group, or as `coefficient`.

    Source: Welch 1947, Biometrika 34, 28-35, for the degrees of freedom.
    """
    a, b = _sample(first), _sample(second)
    var_a, var_b = np.var(a, ddof=1) / a.size, np.var(b, ddof=1) / b.size
    variance = float(var_a + var_b)
    if variance == 0:
        raise StatsError("equivalence: no spread within either group, so the test has no scale")
    df = variance**2 / float(var_a**2 / (a.size - 1) + var_b**2 / (b.size - 1))
    difference = float(np.mean(a) - np.mean(b))
    return coefficient(
        difference, math.sqrt(variance), low=low, high=high, df=df, alpha=alpha, n=a.size + b.size
    )


def share(
    n_chosen: int,
    n_trials: int,
    *,
    low: float,
    high: float,
    alpha: float = 0.05,
    method: Literal["exact", "score"] = "exact",
) -> Equivalence:
    """Two one-sided tests on one share of independent answers.

    Parameters
    ----------
    alpha : one-sided error probability, above 0, below 0.5
    n_chosen, n_trials : 0 <= n_chosen <= n_trials, n_trials >= 1
    low, high : 0 <= low < high <= 1
    method : "exact" or "score"
        Exact binomial with the Clopper-Pearson interval, or the score test with Wilson's interval.

    Raises
    ------
    StatsError
        Bounds outside 0 to 1 or in the wrong order, or an unknown method.

    Source: Clopper & Pearson 1934, Biometrika 26; Wilson 1927, JASA 22.
    """
    _check_bounds(low, high, alpha)
    _check_count(n_chosen, n_trials)
    if not 0 <= low < high <= 1:
        raise StatsError(f"equivalence: bounds {low:g} and {high:g} of a share, wanted 0 <= low < high <= 1")
    if method == "exact":
        p_low = 1.0 if n_chosen == 0 else float(special.bdtrc(n_chosen - 1, n_trials, low))
        p_high = float(special.bdtr(n_chosen, n_trials, high))
        lower, upper = clopper_pearson(n_chosen, n_trials, alpha)
    elif method == "score":
        p_low = float(special.ndtr(-_score(n_chosen, n_trials, low)))
        p_high = float(special.ndtr(_score(n_chosen, n_trials, high)))
        lower, upper = _wilson(n_chosen, n_trials, alpha)
    else:
        raise StatsError(f"equivalence: method is {method!r}, wanted exact or score")
    return Equivalence(
        estimate=n_chosen / n_trials,
        low=low,
        high=high,
        p_low=p_low,
        p_high=p_high,
        lower=lower,
        upper=upper,
        alpha=alpha,
        n=n_trials,
        method=method,
    )


@dataclass(frozen=True)
class SharePower:
    """How often the exact test will find a share equivalent."""

    power: float
    fewest: int | None
    most: int | None
    """Counts between which (inclusive) the test says equivalent; None when no count can."""


def share_power(
    n_trials: int, true_share: float = 0.5, *, low: float, high: float, alpha: float = 0.05
) -> SharePower:
    """Chance that the exact test of `share` says equivalent when the share is `true_share`.

    Parameters
    ----------
    n_trials : answers in all, 1 or more
    low : lower bound of what counts as equivalent
    high : upper bound of it, above `low`
    alpha : one-sided error probability, above 0, below 0.5
    """
    counts = np.arange(n_trials + 1)
    p_low = np.where(counts == 0, 1.0, special.bdtrc(np.maximum(counts - 1, 0), n_trials, low))
    p_high = special.bdtr(counts, n_trials, high)
    accepted = counts[(p_low < alpha) & (p_high < alpha)]
    if accepted.size == 0:
        return SharePower(0.0, None, None)
    fewest, most = int(accepted[0]), int(accepted[-1])
    below = float(special.bdtr(fewest - 1, n_trials, true_share)) if fewest > 0 else 0.0
    return SharePower(float(special.bdtr(most, n_trials, true_share)) - below, fewest, most)


def _t_upper_tail(t: float, df: float) -> float:
    return float(special.ndtr(-t) if math.isinf(df) else special.stdtr(df, -t))


def _score(n_chosen: int, n_trials: int, null: float) -> float:
    """Score statistic; infinite when the bound itself leaves no room for chance."""
    deviation = n_chosen - n_trials * null
    scale = math.sqrt(n_trials * null * (1 - null))
    if scale > 0:
        return deviation / scale
    return 0.0 if deviation == 0 else math.copysign(math.inf, deviation)


def clopper_pearson(n_chosen: int, n_trials: int, alpha: float) -> tuple[float, float]:
    """Exact two-sided limits of a share at 1 - 2 alpha.

    Parameters
    ----------
    n_chosen : 0 to `n_trials`
    n_trials : answers in all, 1 or more
    alpha : one-sided error probability, above 0, below 0.5

    Source: Clopper & Pearson 1934, Biometrika 26.
    """
    n_rest = n_trials - n_chosen
    lower = 0.0 if n_chosen == 0 else float(special.betaincinv(n_chosen, n_rest + 1, alpha))
    upper = 1.0 if n_rest == 0 else float(special.betaincinv(n_chosen + 1, n_rest, 1 - alpha))
    return lower, upper


def _wilson(n_chosen: int, n_trials: int, alpha: float) -> tuple[float, float]:
    z = -float(special.ndtri(alpha))
    found = n_chosen / n_trials
    centre = (found + z**2 / (2 * n_trials)) / (1 + z**2 / n_trials)
    spread = math.sqrt(found * (1 - found) / n_trials + z**2 / (4 * n_trials**2))
    half_width = z * spread / (1 + z**2 / n_trials)
    return max(0.0, centre - half_width), min(1.0, centre + half_width)


def _sample(values: ArrayLike) -> FloatArray:
    sample = np.asarray(values, dtype=np.float64).ravel()
    if sample.size < 2 or not np.isfinite(sample).all():
        raise StatsError(f"equivalence: {sample.size} values, wanted at least 2, all finite")
    return sample


def _check_bounds(low: float, high: float, alpha: float) -> None:
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise StatsError(f"equivalence: bounds {low:g} and {high:g}, wanted low < high, both finite")
    if not 0 < alpha < 0.5:
        raise StatsError(f"equivalence: alpha is {alpha:g}, wanted between 0 and 0.5")


def _check_count(n_chosen: int, n_trials: int) -> None:
    if n_trials < 1 or not 0 <= n_chosen <= n_trials:
        raise StatsError(
            f"equivalence: {n_chosen} of {n_trials} trials, wanted 0 <= chosen <= trials, trials >= 1"
        )
