"""Wrong verdicts on direct shares stay within alpha, by a generator of raw answers of its own."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from tests import direct_rates, direct_truth

TRUTHS = {truth.name: truth for truth in direct_truth.TRUTHS}


@pytest.mark.parametrize(
    "name", ["two camps, a few love b", "lognormal", "lapses and careless", "no difference"]
)
@pytest.mark.parametrize("share", [0.5, 0.65])
def test_the_generator_chooses_as_often_as_it_says(name, share):
    made = direct_rates.drawn(TRUTHS[name], share, 400, 24, 3)
    means = np.nanmean(made.chosen, axis=(1, 2))
    assert means.mean() == pytest.approx(share, abs=4 * means.std(ddof=1) / np.sqrt(400))


@pytest.mark.parametrize("name", ["two camps, a few love b", "two camps, a few hate b"])
def test_camps_even_on_average_are_not_taken_for_more(name):
    """An earlier method said `supported` in 14.3 % of panels of 24."""
    rate = direct_rates.wrong_rate(direct_rates.CASES["supported, truth even"], TRUTHS[name], 200, 24, 3)
    assert rate <= binom.ppf(0.999, 200, 0.05) / 200


@pytest.mark.parametrize("strikes", [2, 3])
def test_strikes_of_one_sound_far_apart_are_not_taken_for_more(strikes):
    """An earlier rule for degrees of freedom said `supported` in up to 8.6 %."""
    truth = TRUTHS["strikes of one far apart"]
    rate = direct_rates.wrong_rate(direct_rates.CASES["supported, truth even"], truth, 300, 12, strikes)
    assert rate <= binom.ppf(0.999, 300, 0.05) / 300


@pytest.mark.parametrize("share", [0.65, 0.8])
def test_power_is_near_that_of_a_plain_two_way_test_where_strikes_are_many(share):
    ours, plain, _ = direct_rates.power_row(TRUTHS["normal"], share, 24, 5, 150, 0)
    assert ours >= plain - 0.03
    assert ours >= 0.95 or share < 0.8


@pytest.mark.parametrize("strikes", [2, 3])
def test_a_clear_share_is_seen_where_strikes_do_not_vary(strikes):
    truth = replace(TRUTHS["normal"], strike_sd=(0.0, 0.0))
    ours, *_ = direct_rates.power_row(truth, 0.80, 24, strikes, 150, 0)
    assert ours >= 0.95


@pytest.mark.slow
@pytest.mark.parametrize("strikes", [2, 3, 5])
@pytest.mark.parametrize("listeners", [8, 12, 24, 48])
@pytest.mark.parametrize("name", TRUTHS)
@pytest.mark.parametrize("wrong", ["supported, truth even", "contradicted, truth .60"])
def test_no_word_is_wrong_more_often_than_alpha(wrong, name, listeners, strikes):
    n = 1000
    rate = direct_rates.wrong_rate(direct_rates.CASES[wrong], TRUTHS[name], n, listeners, strikes)
    assert rate <= binom.ppf(0.999, n, 0.05) / n


@pytest.mark.slow
@pytest.mark.parametrize("truth", direct_rates.SPLIT, ids=lambda one: one.name)
def test_a_split_panel_is_not_called_the_same(truth):
    rate = direct_rates.wrong_rate(direct_rates.CASES["same, listeners outside"], truth, 500, 24, 3)
    assert rate <= binom.ppf(0.999, 500, 0.05) / 500
