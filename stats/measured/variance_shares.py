"""How much of a heard difference each property accounts for: shares of a sum of squares, with limits."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import scipy

from stats import t_interval
from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, as_floats
from stats.measured.ratio_interval import Ratio

SMALLEST_STEP = 1e-6  # of a share, when a limit is looked for
LARGEST_STEP = 1e4  # a limit that far out is none


@dataclass(frozen=True)
class Shares:
    """Shares of the whole, sampling noise taken off; each may come out below 0 or above 1, as noise does."""

    names: tuple[str, ...]
    alone: tuple[Ratio, ...]
    """What each property leaves unsaid less than nothing at all does, entered first."""
    on_top: tuple[Ratio, ...]
    """The same, entered last: what no other property can say."""
    averaged: tuple[Ratio, ...]
    """Mean over the orders of entry allowed (Shapley value); with `left_over` they add up to 1."""
    left_over: Ratio
    """What all properties together leave unsaid."""
    total: float
    """The whole sum of squares, noise taken off; negative where there is less than noise."""
    weights: dict[str, FloatArray]
    """(m, m) matrices of the quadratic forms behind the shares, by `alone NAME` and so on, and `total`."""
    estimate: FloatArray
    covariance: FloatArray
    df: float
    level: float

    def of(self, weights: FloatArray) -> Ratio:
        """Share of any further quadratic form (m, m) in the whole."""
        return _share(weights, self.weights["total"], self.estimate, self.covariance, self.df, self.level)


def decompose(
    estimate: FloatArray,
    covariance: FloatArray,
    unsaid: Mapping[frozenset[str], FloatArray],
    names: Sequence[str],
    *,
    first: Sequence[str] = (),
    df: float = math.inf,
    level: float = 0.95,
) -> Shares:
    """Shares of the sum of squares of `unsaid[nothing] @ estimate` that each property accounts for.

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1
    estimate : (m,) what was estimated, e.g. strengths of conditions
    covariance : (m, m) of the estimate; zeros give the plain shares of R squared
    unsaid : for every subset of the names, the (k, m) matrix that takes the estimate to what the subset
        leaves unsaid
    first : names that enter before all others, because what they say is known apart from the rest; the
        average then runs over the orders that keep to this
    df : degrees of freedom of the covariance

    Raises
    ------
    BadData
        A subset is missing, shapes disagree, or the whole is zero.

    Notes
    -----
    Each sum of squares is a quadratic form y'Ay. Its expectation exceeds that of the true values by tr(AV),
    which is taken off; its variance is 2 tr(AVAV) + 4 mu'AVA mu. The limits of a ratio
    are Fieller's: the shares for which part - share * whole is not clearly different from zero.

    Source: Shapley 1953; Lindeman, Merenda & Gold 1980 and Groemping 2006, J. Stat. Softw. 17(1), for the
    averaging; Searle 1971, Linear Models, section 2.5, for the moments.
    """
    y, v = as_floats(estimate), as_floats(covariance)
    names = tuple(names)
    left = _forms(unsaid, names, y.size)
    if v.shape != (y.size, y.size):
        raise BadData(f"{y.size} estimates with a covariance of {v.shape}")
    everything, nothing = frozenset(names), frozenset[str]()
    weights = {"total": left[nothing], "left over": left[everything]}
    for name in names:
        weights[f"alone {name}"] = left[nothing] - left[frozenset({name})]
        weights[f"on top {name}"] = left[everything - {name}] - left[everything]
        weights[f"averaged {name}"] = _averaged(left, names, tuple(first), name)

    def shares(kind: str) -> tuple[Ratio, ...]:
        return tuple(_share(weights[f"{kind} {name}"], weights["total"], y, v, df, level) for name in names)

    return Shares(
        names=names,
        alone=shares("alone"),
        on_top=shares("on top"),
        averaged=shares("averaged"),
        left_over=_share(weights["left over"], weights["total"], y, v, df, level),
        total=_mean(weights["total"], y, v),
        weights=weights,
        estimate=y,
        covariance=v,
        df=df,
        level=level,
    )


def subsets(names: Sequence[str]) -> list[frozenset[str]]:
    """Every subset, the empty one first."""
    return [frozenset(some) for size in range(len(names) + 1) for some in combinations(names, size)]


def residual_maker(columns: FloatArray) -> FloatArray:
    """(n, n) projection onto what a constant and the (n, p) columns leave unsaid."""
    x = np.column_stack([np.ones(len(columns)), columns])
    return np.asarray(np.eye(len(columns)) - x @ np.linalg.pinv(x))


def _forms(
    unsaid: Mapping[frozenset[str], FloatArray], names: tuple[str, ...], size: int
) -> dict[frozenset[str], FloatArray]:
    forms = {}
    for some in subsets(names):
        if some not in unsaid or unsaid[some].ndim != 2 or unsaid[some].shape[1] != size:
            found = unsaid[some].shape if some in unsaid else "nothing"
            raise BadData(
                f"shares of {', '.join(sorted(some)) or 'no property'}: {found}, wanted (k, {size})"
            )
        forms[some] = unsaid[some].T @ unsaid[some]
    return forms


def _averaged(
    left: Mapping[frozenset[str], FloatArray], names: tuple[str, ...], first: tuple[str, ...], name: str
) -> FloatArray:
    """Quadratic form of one name's part, averaged over the orders of those that it enters among."""
    among = [other for other in names if (other in first) == (name in first)]
    entered = frozenset[str]() if name in first else frozenset(first)
    n = len(among)
    total = np.zeros_like(left[frozenset()])
    for some in subsets([other for other in among if other != name]):
        before = some | entered
        orders = math.factorial(len(some)) * math.factorial(n - len(some) - 1)
        total += orders / math.factorial(n) * (left[before] - left[before | {name}])
    return total


def _share(
    part: FloatArray, whole: FloatArray, y: FloatArray, v: FloatArray, df: float, level: float
) -> Ratio:
    bottom = _mean(whole, y, v)
    if bottom == 0:
        raise BadData("shares: nothing differs, so there is no whole to take shares of")
    estimate = _mean(part, y, v) / bottom
    t = t_interval.quantile((1 + level) / 2, df)

    def outside(share: float) -> float:
        """Positive where part - share * whole is too far from zero for this share to be the true one."""
        form = part - share * whole
        return _mean(form, y, v) ** 2 - t**2 * _variance(form, y, v)

    lower, upper = (_limit(outside, estimate, side) for side in (-1.0, 1.0))
    if bottom**2 <= t**2 * _variance(whole, y, v) or math.isinf(upper - lower):
        return Ratio(estimate, -math.inf, math.inf, bounded=False, level=level)
    return Ratio(estimate, lower, upper, bounded=True, level=level)


def _limit(outside: Callable[[float], float], estimate: float, side: float) -> float:
    """The share on one side of the estimate at which `outside` turns positive."""
    inside, step = estimate, SMALLEST_STEP
    while outside(estimate + side * step) <= 0:
        inside = estimate + side * step
        step *= 2
        if step > LARGEST_STEP:
            return side * math.inf
    beyond = estimate + side * step
    if outside(inside) >= 0:  # no noise at all
        return inside
    return float(scipy.optimize.brentq(outside, inside, beyond, xtol=1e-9))


def _mean(form: FloatArray, y: FloatArray, v: FloatArray) -> float:
    return float(y @ form @ y - np.trace(form @ v))


def _variance(form: FloatArray, y: FloatArray, v: FloatArray) -> float:
    """Estimated: the true values' own products are those of the estimates less their noise."""
    inner = form @ v
    noise = float(np.trace(inner @ inner))
    return max(4.0 * float(y @ inner @ form @ y) - 2.0 * noise, 2.0 * noise)
