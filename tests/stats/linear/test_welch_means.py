"""Welch's test of several means: against scipy's, and what it refuses."""

import numpy as np
import pytest
from scipy import stats as reference

from stats.errors import BadData
from stats.linear import welch_means


@pytest.mark.parametrize("sizes", [(5, 9), (4, 7, 12), (2, 3, 4, 20)])
def test_p_is_that_of_scipy(sizes: tuple[int, ...]) -> None:
    rng = np.random.default_rng(len(sizes))
    groups = [rng.normal(0.3 * i, 1.0 + i, n).tolist() for i, n in enumerate(sizes)]
    expected = reference.f_oneway(*groups, equal_var=False).pvalue
    assert welch_means.p_differ(groups) == pytest.approx(expected, rel=1e-10)


def test_two_groups_are_welchs_t_test() -> None:
    a, b = [0.1, 0.5, 0.4, 0.9], [0.3, 0.8, 0.9]
    expected = reference.ttest_ind(a, b, equal_var=False).pvalue
    assert welch_means.p_differ([a, b]) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("groups", [[[1.0, 2.0]], [[1.0, 2.0], [1.0]], [[1.0, 1.0], [1.0, 2.0]]])
def test_groups_that_tell_nothing_are_refused(groups: list[list[float]]) -> None:
    with pytest.raises(BadData):
        welch_means.p_differ(groups)
