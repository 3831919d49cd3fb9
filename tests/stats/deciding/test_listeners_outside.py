"""The share of listeners with an effect of their own: exact at the least favourable panel."""

import numpy as np
import pytest
from scipy.stats import binom

from stats.deciding import listeners_outside
from stats.deciding.listeners_outside import Counts
from stats.errors import StatsError


def counts(chosen, answers=12):
    half = answers // 2
    return Counts(np.asarray(chosen, float), np.full((len(chosen), 2), half), 0.0, 0.0)


def test_one_answer_each_says_nothing():
    """With one answer any own shares look alike, so no limit below 1 can be had."""
    one = Counts(np.tile([0.0, 1.0], 12), np.tile([1, 0], (24, 1)), 0.0, 0.0)
    assert listeners_outside.upper_limit(one, 0.05, delta=0.2, scored_for=0.25) == 1.0


def test_with_answers_without_end_it_is_the_exact_binomial_limit():
    """Own shares are then seen: none of 24 outside gives 1 - alpha**(1/24), Clopper & Pearson 1934."""
    found = listeners_outside.upper_limit(counts(np.full(24, 1000), 2000), 0.05, delta=0.2, scored_for=0.25)
    assert found == pytest.approx(1 - 0.05 ** (1 / 24), abs=1e-6)


def test_p_is_the_chance_of_sums_as_small_by_enumeration():
    """Two listeners of two answers: the only score that is low is one of two, chance by hand."""
    both_even = counts([1, 1], 2)
    q, border = 0.3, 0.75
    at_one = (1 - q) * 0.5 + q * 2 * border * (1 - border)
    assert listeners_outside.p_at_least(both_even, q, delta=0.25) == pytest.approx(at_one**2, abs=1e-12)


@pytest.mark.parametrize("delta", [0.1, 0.2])
def test_least_favourable_panel_is_passed_no_more_often_than_alpha(delta):
    rng = np.random.default_rng(20261127)
    shares = np.where(rng.random((1500, 24)) < 0.25, 0.5 + delta * rng.choice([-1, 1], (1500, 24)), 0.5)
    passed = [
        listeners_outside.p_at_least(counts(k, 18), 0.25, delta=delta) <= 0.05
        for k in rng.binomial(18, shares)
    ]
    assert np.mean(passed) <= binom.ppf(0.9999, 1500, 0.05) / 1500


def test_a_camp_of_three_in_ten_is_not_taken_for_the_same():
    """Found with an earlier method: 30 % of listeners at +1.1 logit, the rest at -0.2, passed in 8.3 %."""
    rng = np.random.default_rng(5)
    shares = 1 / (1 + np.exp(-np.where(rng.random((1000, 24)) < 0.3, 1.1, -0.2)))
    passed = [
        listeners_outside.p_at_least(counts(k), 0.25, delta=0.2) <= 0.05 for k in rng.binomial(12, shares)
    ]
    assert np.mean(passed) <= binom.ppf(0.9999, 1000, 0.05) / 1000


def test_order_that_decides_every_answer_hides_no_camp():
    """A pull of 0.5 leaves each own share at one half whatever the answers: nobody can be placed."""
    pulled = Counts(np.full(24, 9.0), np.full((24, 2), 9), 0.45, 0.0)
    free = Counts(np.full(24, 9.0), np.full((24, 2), 9), 0.0, 0.0)
    assert listeners_outside.p_at_least(pulled, 0.25, delta=0.2) > listeners_outside.p_at_least(
        free, 0.25, delta=0.2
    )


def test_power_is_that_of_simulated_even_panels():
    rng = np.random.default_rng(9)
    passed = [
        listeners_outside.p_at_least(counts(k, 24), 0.25, delta=0.2) <= 0.05
        for k in rng.binomial(24, 0.5, (1500, 24))
    ]
    told = listeners_outside.power(24, 24, delta=0.2, limit=0.25, alpha=0.05)
    assert np.mean(passed) == pytest.approx(told, abs=4 * np.sqrt(told * (1 - told) / 1500))


def test_numbers_out_of_range_are_named():
    with pytest.raises(StatsError, match=r"smallest effect 0\.6"):
        listeners_outside.p_at_least(counts([6, 6]), 0.25, delta=0.6)


@pytest.mark.parametrize(("share", "ties"), [(0.6, 0.2), (0.5, 0.0), (0.95, 0.3)])
def test_chances_of_one_answer_have_the_share_they_were_made_for(share, ties):
    """A tie counts half; near certainty there is less room for ties."""
    chances = listeners_outside._one_answer(share, ties)
    assert chances.sum() == pytest.approx(1.0)
    assert chances @ [0.0, 0.5, 1.0] == pytest.approx(share)
    assert chances[1] == pytest.approx(min(ties, 2 * (1 - share)))


def test_the_order_pulls_up_what_is_heard_first_and_down_what_is_heard_second():
    """Two answers with it first (0.6 each) and one with it second (0.4): all three chosen 0.144 by hand."""
    pulled = Counts(np.zeros(1), np.array([[2, 1]]), 0.1, 0.0)
    chances = listeners_outside._chances(np.array([2, 1]), 0.5, pulled)
    assert (chances[6], chances[0]) == (pytest.approx(0.144), pytest.approx(0.4 * 0.4 * 0.6))


def test_a_score_never_falls_with_the_distance_from_the_middle():
    """By hand: ratios 0.5, 1.5, 1, 1.5, 0.5 of border to even; the ends are scored as what lies nearer."""
    even, border = np.full(5, 0.2), np.array([0.1, 0.3, 0.2, 0.3, 0.1])
    found = listeners_outside._score(even, border, 0.25)
    assert found == pytest.approx(np.log1p(0.25 * np.array([0.5, 0.5, 0.0, 0.5, 0.5])), abs=1e-12)


def test_power_of_a_panel_whose_own_shares_are_given_is_that_of_their_mixture():
    """All even is the plain case; all at the border passes in alpha at most; half and half lies between."""
    asked = {"delta": 0.2, "limit": 0.25, "alpha": 0.05}
    plain = listeners_outside.power(24, 18, **asked)
    given = [
        listeners_outside.power(24, 18, **asked, own=np.array([0.5, 0.7]), weights=np.array([1 - w, w]))
        for w in (0.0, 0.25, 1.0)
    ]
    assert given[0] == pytest.approx(plain, abs=1e-12)
    assert plain > given[1] > given[2]
    assert given[1] <= 0.05  # a quarter at the border: the least favourable panel
