"""Tests on ranks, for grades far from normal: signed ranks of differences, and ranks within listeners."""

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from stats.errors import BadData

FloatArray = NDArray[np.float64]
SAME = 1e-9  # grades have one decimal: means that differ by less differ by rounding alone


@dataclass(frozen=True)
class SignedRanks:
    """Whether differences lie to one side of zero."""

    n: int
    """Differences that are not zero."""
    rank_sum: float
    """Of the differences above zero."""
    p: float
    """Two-sided, exact for these ranks, ties included."""


@dataclass(frozen=True)
class RanksWithin:
    """Whether conditions differ, by their ranks within each listener."""

    chi_square: float
    df: int
    p: float
    """From the chi-square distribution, ties corrected."""
    n_listeners: int


def signed_ranks(differences: ArrayLike) -> SignedRanks:
    """Signed-rank test of differences, one a listener, against symmetry around zero.

    Zeros are left out, equal sizes share their mean rank, and the p-value counts every assignment of signs to
    these ranks, however many ties there are.

    Parameters
    ----------
    differences : (n,) array, any unit

    Raises
    ------
    BadData
        Not one difference is away from zero, or a value is not finite.

    Source: Wilcoxon 1945, Biometrics Bulletin 1(6).
    """
    values = np.asarray(differences, float)
    if values.ndim != 1 or not np.isfinite(values).all():
        raise BadData("differences: wanted one row of finite numbers")
    values = values[np.abs(values) > SAME]
    if not len(values):
        raise BadData("every difference is zero: there is no rank to test")
    doubled = np.rint(2 * _mean_ranks(np.abs(values))).astype(int)
    positive = int(doubled[values > 0].sum())
    chances = _of_sums(doubled)
    tail = min(chances[: positive + 1].sum(), chances[positive:].sum())
    return SignedRanks(len(values), positive / 2, min(1.0, 2.0 * float(tail)))


def within_listeners(grades: ArrayLike) -> RanksWithin:
    """Rank test of several conditions, each graded by every listener.

    Parameters
    ----------
    grades : (n, k) array, any unit
        A row a listener, a column a condition; at least 3 columns and 2 rows.

    Raises
    ------
    BadData
        Too few rows or columns, a value is not finite, or every listener gave every condition the same grade.

    Source: Friedman 1937, Journal of the American Statistical Association 32(200); ties after Conover 1999,
    Practical Nonparametric Statistics, as remembered.
    """
    table = np.asarray(grades, float)
    if table.ndim != 2 or table.shape[0] < 2 or table.shape[1] < 3 or not np.isfinite(table).all():
        raise BadData(
            f"grades: found a table of {table.shape}, wanted finite numbers of 2 listeners and 3 conditions"
        )
    ranks = np.array([_mean_ranks(row) for row in table])
    n, k = ranks.shape
    spread = float((ranks**2).sum()) - n * k * (k + 1) ** 2 / 4
    if spread <= 0:
        raise BadData("every listener gave every condition the same grade: there is no rank to test")
    between = float(((ranks.sum(axis=0) - n * (k + 1) / 2) ** 2).sum())
    chi_square = (k - 1) * between / spread
    return RanksWithin(chi_square, k - 1, float(scipy.special.chdtrc(k - 1, chi_square)), n)


def _mean_ranks(values: FloatArray) -> FloatArray:
    """Ranks from 1; values that differ by rounding alone share their mean rank."""
    order = np.argsort(values, kind="stable")
    begins = np.concatenate([[True], np.diff(values[order]) > SAME])
    group = np.cumsum(begins) - 1
    places = np.arange(1, len(values) + 1, dtype=float)
    means = np.bincount(group, places) / np.bincount(group)
    ranks = np.empty(len(values))
    ranks[order] = means[group]
    return ranks


def _of_sums(ranks: NDArray[np.int64]) -> FloatArray:
    """Chance of each sum of a subset in which every rank stands or not with even chances."""
    chances = np.zeros(int(ranks.sum()) + 1)
    chances[0] = 1.0
    for rank in ranks:
        chances = 0.5 * (chances + np.concatenate([np.zeros(rank), chances[:-rank]]))
    return chances
