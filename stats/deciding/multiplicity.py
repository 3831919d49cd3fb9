"""Several questions at once: adjusted p-values and simultaneous intervals."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray
from scipy import special

from stats.errors import StatsError

FloatArray = NDArray[np.float64]

Method = Literal["holm", "hochberg", "benjamini-hochberg"]
_NAME_IN_STATSMODELS = {"holm": "holm", "hochberg": "simes-hochberg", "benjamini-hochberg": "fdr_bh"}

N_DIRECTIONS = 2**18
CHANCE_ERROR, CRITICAL_ERROR = 1e-4, 3e-4  # of an adjusted p-value and a critical value, up to rank 10
_BLOCK, _BINS = 2**14, 2**10
_DIRECTION_SEED = 20_240_613  # fixed, so that the same data give the same numbers
RANK_TOLERANCE = 1e-10


@dataclass(frozen=True)
class Adjusted:
    """p-values corrected for a family, in the order given."""

    p: tuple[float, ...]
    p_adjusted: tuple[float, ...]
    rejected: tuple[bool, ...]
    alpha: float
    method: str


def adjust(p_values: Sequence[float], *, method: Method = "holm", alpha: float = 0.05) -> Adjusted:
    """p-values corrected over the family they form.

    Parameters
    ----------
    alpha : one-sided error probability, above 0, below 0.5
    p_values : k values, 0 to 1
    method : "holm" (any dependence), "hochberg" (independent or positively dependent), "benjamini-hochberg"
        The first two hold the chance of any false claim, the last the share of false claims.

    Raises
    ------
    StatsError
        No p-value, one outside 0 to 1, or an unknown method.

    Source: Holm 1979, Scand. J. Statist. 6; Hochberg 1988, Biometrika 75; Benjamini & Hochberg 1995, JRSS
    B 57.
    """
    p = np.asarray(p_values, dtype=np.float64)
    if p.ndim != 1 or p.size == 0 or not ((p >= 0) & (p <= 1)).all():
        raise StatsError(
            f"multiplicity: found p-values {list(p_values)}, wanted at least one, all from 0 to 1"
        )
    if method not in _NAME_IN_STATSMODELS:
        raise StatsError(
            f"multiplicity: method is {method!r}, wanted one of {', '.join(_NAME_IN_STATSMODELS)}"
        )
    from statsmodels.stats.multitest import multipletests

    rejected, adjusted = multipletests(p, alpha=alpha, method=_NAME_IN_STATSMODELS[method])[:2]
    return Adjusted(
        tuple(map(float, p)), tuple(map(float, adjusted)), tuple(map(bool, rejected)), alpha, method
    )


@dataclass(frozen=True)
class MaxT:
    """Contrasts judged together by the largest t of their joint distribution."""

    estimate: FloatArray
    se: FloatArray
    t: FloatArray
    p: FloatArray
    p_adjusted: FloatArray
    lower: FloatArray
    upper: FloatArray
    """Simultaneous intervals; the open side of a one-sided family is infinite."""
    critical: float
    df: float
    level: float


def max_t(
    estimate: ArrayLike,
    covariance: ArrayLike,
    *,
    df: float = math.inf,
    level: float = 0.95,
    alternative: Literal["two-sided", "greater", "less"] = "two-sided",
) -> MaxT:
    """Adjusted p-values and simultaneous intervals of k contrasts from their joint covariance.

    Parameters
    ----------
    alternative : side or sides on which a contrast may differ from 0
    estimate : (k,) array
    covariance : (k, k) array
        Of the estimates; may be singular, as for all pairs of means.
    df : float, > 0
        Degrees of freedom shared by all; use the smallest where they differ.
    level : 0 to 1
        Joint coverage.

    Raises
    ------
    StatsError
        Shapes do not fit, a variance is not above 0, or the matrix is no covariance.

    Source: Hothorn, Bretz & Westfall 2008, Biometrical J. 50, 346-363; the radius of the t vector is
    integrated exactly (an F distribution), its direction by quasi-Monte Carlo within `CHANCE_ERROR` and
    `CRITICAL_ERROR`; the same on every processor.
    """
    theta, cov = _check_joint(estimate, covariance, df, level)
    se = np.sqrt(np.diag(cov))
    t = theta / se
    family = _Family.of(cov / np.outer(se, se), df, two_sided=alternative == "two-sided")
    towards = {"two-sided": np.abs(t), "greater": t, "less": -t}
    if alternative not in towards:
        raise StatsError(f"multiplicity: alternative is {alternative!r}, wanted one of {', '.join(towards)}")
    extremes = towards[alternative]
    one_sided = special.ndtr(-extremes) if math.isinf(df) else special.stdtr(df, -extremes)
    critical = family.quantile(level)
    return MaxT(
        estimate=theta,
        se=se,
        t=t,
        p=np.asarray(2 * one_sided if alternative == "two-sided" else one_sided),
        p_adjusted=np.array([family.chance_above(value) for value in extremes]),
        lower=theta - critical * se if alternative != "less" else np.full_like(theta, -math.inf),
        upper=theta + critical * se if alternative != "greater" else np.full_like(theta, math.inf),
        critical=critical,
        df=df,
        level=level,
    )


@dataclass(frozen=True)
class _Family:
    """Largest of k correlated t values: t = radius * (factor @ direction)."""

    largest: FloatArray
    """(n,) largest component of factor @ direction, over directions spread over the unit sphere."""
    rank: int
    df: float

    @classmethod
    def of(cls, correlation: FloatArray, df: float, *, two_sided: bool) -> "_Family":
        factor = _lower_factor(correlation)
        rank = factor.shape[1]
        directions = _directions(rank)
        largest = [
            _largest(directions[i : i + _BLOCK] @ factor.T, two_sided)
            for i in range(0, len(directions), _BLOCK)
        ]
        return cls(_thinned(np.concatenate(largest)), rank, df)

    def chance_above(self, value: float) -> float:
        """Chance that the largest t passes `value`."""
        with np.errstate(divide="ignore"):
            ratio = value / self.largest
        # a largest component below 0 stays below any value >= 0 and passes a negative one within a finite
        # radius
        tail = self._radius_tail(np.abs(ratio))
        above = self.largest > 0
        chance = np.where(above, tail if value >= 0 else 1.0, 0.0 if value >= 0 else 1.0 - tail)
        return float(np.clip(np.mean(chance), 0.0, 1.0))

    def quantile(self, level: float) -> float:
        top = 1.0
        while self.chance_above(top) > 1 - level:
            top *= 2
        return float(
            scipy.optimize.brentq(lambda value: self.chance_above(value) - (1 - level), 0.0, top, xtol=1e-10)
        )

    def _radius_tail(self, radius: FloatArray) -> FloatArray:
        if math.isinf(self.df):
            return np.asarray(special.gammaincc(self.rank / 2, radius**2 / 2))
        return np.asarray(scipy.stats.f.sf(radius**2 / self.rank, self.rank, self.df))


def _lower_factor(correlation: FloatArray) -> FloatArray:
    """(k, rank) lower-triangular factor with a positive diagonal; contrasts that follow from earlier ones add
    no column.

    It is unique and changes little when the matrix does. Eigenvectors are neither where eigenvalues repeat,
    as they do for all pairs of means: then the numbers would hang on the processor's kernels.
    """
    rest, columns = correlation.copy(), []
    for j in range(len(correlation)):
        if rest[j, j] > RANK_TOLERANCE:
            column = rest[:, j] / math.sqrt(rest[j, j])
            column[:j] = 0.0
            columns.append(column)
            rest = rest - np.outer(column, column)
    return np.column_stack(columns)


def _largest(components: FloatArray, two_sided: bool) -> FloatArray:
    """Largest component of each direction; a one-sided family sees the opposite directions too."""
    if two_sided:
        return np.asarray(np.abs(components).max(axis=1))
    return np.concatenate([components.max(axis=1), -components.min(axis=1)])


def _thinned(values: FloatArray) -> FloatArray:
    """Two values with the mean and spread of each of `_BINS` neighbourhoods: 1e-8 of a mean of a smooth
    function."""
    if values.size <= 2 * _BINS:
        return values
    bins = np.sort(values).reshape(_BINS, -1)
    centre, spread = bins.mean(axis=1), bins.std(axis=1)
    return np.concatenate([centre - spread, centre + spread])


@lru_cache(maxsize=2)
def _directions(rank: int) -> FloatArray:
    """(n, rank) points spread evenly over the unit sphere."""
    if rank == 1:
        return np.array([[1.0], [-1.0]])
    if rank == 2:
        angle = 2 * np.pi * (np.arange(N_DIRECTIONS) + 0.5) / N_DIRECTIONS
        return np.column_stack([np.cos(angle), np.sin(angle)])
    sobol = scipy.stats.qmc.Sobol(rank, rng=np.random.default_rng(_DIRECTION_SEED))
    normal = special.ndtri(sobol.random(N_DIRECTIONS))
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def _check_joint(
    estimate: ArrayLike, covariance: ArrayLike, df: float, level: float
) -> tuple[FloatArray, FloatArray]:
    theta = np.atleast_1d(np.asarray(estimate, dtype=np.float64))
    cov = np.atleast_2d(np.asarray(covariance, dtype=np.float64))
    if theta.ndim != 1 or cov.shape != (theta.size, theta.size):
        raise StatsError(f"multiplicity: {theta.size} estimates with a covariance of shape {cov.shape}")
    if not (np.isfinite(theta).all() and np.isfinite(cov).all() and (np.diag(cov) > 0).all()):
        raise StatsError("multiplicity: wanted finite estimates and variances above 0")
    slack = RANK_TOLERANCE * float(np.diag(cov).max())
    if np.abs(cov - cov.T).max() > slack or np.linalg.eigvalsh(cov)[0] < -100 * slack:
        raise StatsError(
            "multiplicity: the matrix is not a covariance (not symmetric or a negative variance)"
        )
    if not (df > 0 and 0 < level < 1):
        raise StatsError(f"multiplicity: df {df:g} and level {level:g}, wanted df > 0 and 0 < level < 1")
    return theta, cov
