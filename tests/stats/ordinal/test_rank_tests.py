"""Tests on ranks against scipy, against every assignment of signs, and against a worked example by hand."""

import itertools

import numpy as np
import pytest
from scipy import stats as scipy_stats

from stats.errors import BadData
from stats.ordinal import rank_tests


@pytest.mark.parametrize("n", [1, 5, 8, 30, 50])
def test_signed_ranks_without_ties_are_those_of_scipy(n: int) -> None:
    values = np.random.default_rng(n).standard_normal(n) + 0.3
    found, wanted = rank_tests.signed_ranks(values), scipy_stats.wilcoxon(values, method="exact")
    assert found.n == n
    assert min(found.rank_sum, n * (n + 1) / 2 - found.rank_sum) == wanted.statistic
    assert found.p == pytest.approx(wanted.pvalue, rel=1e-12)


def test_with_ties_every_assignment_of_signs_is_counted() -> None:
    values = np.array([1.0, 1.0, -1.0, 2.0, 2.0, 3.0, -3.0, 5.0, 0.0])
    ranks = np.array([2, 2, 2, 4.5, 4.5, 6.5, 6.5, 8.0])  # by hand; the zero is left out
    signs = np.array(list(itertools.product([0, 1], repeat=len(ranks))))
    sums, seen = signs @ ranks, float(ranks[[0, 1, 3, 4, 5, 7]].sum())
    tail = min((sums <= seen).mean(), (sums >= seen).mean())
    found = rank_tests.signed_ranks(values)
    assert (found.n, found.rank_sum) == (8, seen)
    assert found.p == pytest.approx(2 * tail, rel=1e-12)


def test_differences_that_rounding_alone_tells_apart_share_a_rank() -> None:
    assert 3.3 - 1.2 != 4.9 - 2.8
    assert rank_tests.signed_ranks([3.3 - 1.2, -(4.9 - 2.8), 2.5]).rank_sum == 4.5


@pytest.mark.parametrize("decimals", [9, 0], ids=["no ties", "ties"])
def test_ranks_within_listeners_are_those_of_scipy(decimals: int) -> None:
    grades = np.round(np.random.default_rng(5).normal([0, 1, 1, 3], 1.5, (12, 4)), decimals)
    found, wanted = rank_tests.within_listeners(grades), scipy_stats.friedmanchisquare(*grades.T)
    assert (found.df, found.n_listeners) == (3, 12)
    assert found.chi_square == pytest.approx(wanted.statistic, rel=1e-12)
    assert found.p == pytest.approx(wanted.pvalue, rel=1e-10)


def test_order_and_unit_of_grades_change_nothing() -> None:
    rng = np.random.default_rng(2)
    grades = rng.normal([0, 1, 2], 2.0, (9, 3))
    moved = 7.0 * grades[rng.permutation(9)][:, [2, 0, 1]] + 3.0
    assert rank_tests.within_listeners(moved).p == pytest.approx(rank_tests.within_listeners(grades).p)
    assert rank_tests.signed_ranks(-5.0 * grades[:, 0]).p == pytest.approx(
        rank_tests.signed_ranks(grades[:, 0]).p
    )


@pytest.mark.parametrize(
    ("grades", "told"),
    [
        (np.ones((5, 3)), "the same grade"),
        (np.ones((5, 2)), "3 conditions"),
        (np.ones((1, 3)), "2 listeners"),
        (np.array([[1, 2, np.nan], [1, 2, 3]]), "finite"),
    ],
)
def test_a_table_that_has_no_ranks_is_refused(grades: np.ndarray, told: str) -> None:
    with pytest.raises(BadData, match=told):
        rank_tests.within_listeners(grades)


@pytest.mark.parametrize("values", [[0.0, 0.0], [], [np.nan, 1.0], [[1.0]]])
def test_differences_that_have_no_ranks_are_refused(values: list[float]) -> None:
    with pytest.raises(BadData):
        rank_tests.signed_ranks(values)
