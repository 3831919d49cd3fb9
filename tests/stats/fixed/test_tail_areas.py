"""Tail areas against scipy.stats, which is slow to load but holds the same functions."""

import math

import numpy as np
import pytest
from scipy import stats as distributions

from stats import t_interval
from stats.fixed import tail_areas

RNG = np.random.default_rng(11)


@pytest.mark.parametrize("df", [1, 2, 7, 39.5])
def test_tails_of_chi_square_are_those_of_scipy_to_the_last_digit(df: float) -> None:
    for statistic in [0.0, -1e-12, *RNG.gamma(2.0, 4.0, 50)]:
        assert tail_areas.chi_square_above(float(statistic), df) == distributions.chi2.sf(statistic, df)


@pytest.mark.parametrize("df", [1, 5, 22.7])
def test_quantiles_are_those_of_scipy_to_the_last_digit(df: float) -> None:
    for share in RNG.random(50):
        assert tail_areas.chi_square_quantile(float(share), df) == distributions.chi2.ppf(share, df)
        assert t_interval.quantile(float(share), df) == distributions.t.ppf(share, df)


def test_five_in_a_hundred_of_the_printed_table() -> None:
    # chi-square, 1 df, 5 %: 3.841; t, 10 df, 97.5 %: 2.228 (any table of both; from memory)
    assert tail_areas.chi_square_quantile(0.95, 1) == pytest.approx(3.841, abs=5e-4)
    assert tail_areas.chi_square_above(3.841, 1) == pytest.approx(0.05, abs=5e-5)
    assert t_interval.quantile(0.975, 10) == pytest.approx(2.228, abs=5e-4)


def test_no_degrees_of_freedom_have_no_tail() -> None:
    assert math.isnan(tail_areas.chi_square_above(1.0, 0))
