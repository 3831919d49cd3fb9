"""Two one-sided tests: exact values, agreement with a reference library, coverage of the bound."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy import stats as distributions
from statsmodels.stats.weightstats import DescrStatsW, ttost_ind

from stats.deciding import equivalence
from stats.errors import StatsError

REFERENCE = tomllib.loads((Path(__file__).parents[2] / "published" / "discrimination.toml").read_text())
RNG = np.random.default_rng(3)
FIRST, SECOND = RNG.normal(0.1, 1.0, 40), RNG.normal(0.0, 1.5, 30)


@pytest.mark.parametrize("case", REFERENCE["equivalence"], ids=lambda case: f"{case['x']} of {case['n']}")
def test_share_agrees_with_exact_arithmetic(case):
    bounds = {"low": case["low"], "high": case["high"], "alpha": case["alpha"]}
    exact = equivalence.share(case["x"], case["n"], **bounds)
    assert exact.p_low == pytest.approx(case["exact_p_lower"], rel=1e-12)
    assert exact.p_high == pytest.approx(case["exact_p_upper"], rel=1e-12)
    assert exact.is_equivalent == case["equivalent_exact"]
    np.testing.assert_allclose([exact.lower, exact.upper], case["cp90"], atol=1e-12)
    score = equivalence.share(case["x"], case["n"], method="score", **bounds)
    assert score.p == pytest.approx(case["score_p_tost"], rel=1e-10)


@pytest.mark.parametrize("case", REFERENCE["equivalence_power"], ids=lambda case: f"{case['n']} trials")
def test_power_agrees_with_exact_arithmetic(case):
    found = equivalence.share_power(case["n"], low=case["low"], high=case["high"], alpha=case["alpha"])
    assert [found.fewest, found.most] == case["accept_x"]
    assert found.power == pytest.approx(case["power_at_half"], abs=1e-12)


@pytest.mark.parametrize("key", list(REFERENCE["intervals"]))
def test_intervals_of_a_share_agree(key):
    chosen, trials = map(int, key.split("/"))
    for method, name in (("exact", "exact"), ("score", "wilson")):
        # two one-sided tests at 2.5 % belong to the 95 % interval
        found = equivalence.share(chosen, trials, low=0.1, high=0.9, alpha=0.025, method=method)
        np.testing.assert_allclose([found.lower, found.upper], REFERENCE["intervals"][key][name], atol=1e-12)


def test_mean_agrees_with_the_reference_library():
    found = equivalence.mean(FIRST, low=-0.5, high=0.5)
    expected = DescrStatsW(FIRST).ttost_mean(-0.5, 0.5)
    assert found.p == pytest.approx(expected[0], rel=1e-10)
    assert found.p_low == pytest.approx(expected[1][1], rel=1e-10)
    assert found.p_high == pytest.approx(expected[2][1], rel=1e-10)


def test_two_means_agree_with_the_reference_library():
    found = equivalence.two_means(FIRST, SECOND, low=-0.8, high=0.8)
    assert found.p == pytest.approx(ttost_ind(FIRST, SECOND, -0.8, 0.8, usevar="unequal")[0], rel=1e-10)
    welch = distributions.ttest_ind(FIRST, SECOND, equal_var=False).confidence_interval(0.9)
    np.testing.assert_allclose([found.lower, found.upper], [welch.low, welch.high], atol=1e-10)


@pytest.mark.parametrize("df", [12.0, np.inf])
def test_interval_inside_the_bounds_is_the_same_as_both_tests_rejecting(df):
    for estimate in np.linspace(-0.5, 0.5, 41):
        found = equivalence.coefficient(estimate, 0.1, low=-0.4, high=0.4, df=df)
        assert found.is_equivalent == (found.lower > -0.4 and found.upper < 0.4)


@pytest.mark.parametrize("n", [11, 60])
def test_exact_test_keeps_alpha_at_the_bound(n):
    found = equivalence.share_power(n, true_share=0.65, low=0.35, high=0.65)
    assert found.power <= 0.05


def test_t_test_keeps_alpha_at_the_bound():
    rng = np.random.default_rng(4)
    values = rng.normal(0.6, 1.0, (4000, 25))
    share = np.mean([equivalence.mean(one, low=-0.6, high=0.6).is_equivalent for one in values])
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 4000))


@pytest.mark.parametrize("chosen", [0, 10])
def test_unanimous_answers_have_one_open_side(chosen):
    found = equivalence.share(chosen, 10, low=0.2, high=0.8)
    assert (found.lower == 0) == (chosen == 0)
    assert (found.upper == 1) == (chosen == 10)
    assert not found.is_equivalent


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: equivalence.coefficient(0.0, 0.0, low=-1, high=1), "above 0"),
        (lambda: equivalence.coefficient(0.0, 1.0, low=1, high=-1), "low < high"),
        (lambda: equivalence.coefficient(0.0, 1.0, low=-1, high=1, alpha=0.7), "between 0 and 0.5"),
        (lambda: equivalence.mean([1.0], low=-1, high=1), "at least 2"),
        (lambda: equivalence.two_means([1.0, 1.0], [2.0, 2.0], low=-1, high=1), "no spread"),
        (lambda: equivalence.share(11, 10, low=0.4, high=0.6), "11 of 10"),
        (lambda: equivalence.share(5, 10, low=-0.4, high=0.6), "0 <= low"),
        (lambda: equivalence.share(5, 10, low=0.4, high=0.6, method="wald"), "exact or score"),
    ],
)
def test_what_cannot_be_tested_is_named(call, message):
    with pytest.raises(StatsError, match=message):
        call()


@pytest.mark.parametrize(("df", "method"), [(12.0, "t"), (np.inf, "normal")])
def test_the_method_says_which_distribution_was_used(df, method):
    assert equivalence.coefficient(0.1, 0.2, low=-1.0, high=1.0, df=df).method == method


@pytest.mark.parametrize(("se", "df"), [(0.0, 12.0), (-0.1, 12.0), (0.1, 0.0), (np.nan, 12.0)])
def test_an_error_that_is_none_is_refused(se, df):
    with pytest.raises(StatsError):
        equivalence.coefficient(0.1, se, low=-1.0, high=1.0, df=df)


def test_one_in_twenty_is_the_usual_alpha_everywhere():
    asked = {"low": 0.35, "high": 0.65}
    usual = equivalence.share_power(51, **asked)  # of 51 answers another count is accepted at 0.051
    assert usual == equivalence.share_power(51, **asked, alpha=0.05)
    assert usual != equivalence.share_power(51, **asked, alpha=0.051)
    for made in (
        equivalence.coefficient(0.1, 0.1, low=-1.0, high=1.0),
        equivalence.mean(FIRST, low=-1.0, high=1.0),
        equivalence.two_means(FIRST, SECOND, low=-1.0, high=1.0),
        equivalence.share(5, 10, **asked),
    ):
        assert made.alpha == 0.05


def test_two_differences_are_judged_by_students_t_of_one_degree_of_freedom():
    """Cauchy's distribution: the p of 0.5 +- 0.5 against 0 is 1/2 - atan(1) / pi."""
    found = equivalence.mean([0.0, 1.0], low=0.0, high=4.5)
    assert found.p_low == pytest.approx(0.25, abs=1e-12)
    assert found.p_high == pytest.approx(0.5 - np.arctan(8.0) / np.pi, abs=1e-12)


def test_the_score_of_a_bound_without_room_is_even_or_infinite():
    """Nobody chosen at a lower bound of 0: neither for nor against; one chosen is above it for certain."""
    none, one = (equivalence.share(n, 10, low=0.0, high=0.5, method="score") for n in (0, 1))
    assert (none.p_low, one.p_low) == (0.5, 0.0)
