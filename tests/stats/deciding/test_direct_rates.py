"""Wrong verdicts on direct shares stay within alpha, by a generator of raw answers of its own."""

import numpy as np
import pytest
from scipy.stats import binom

from tests import direct_rates, direct_truth

TRUTHS = {truth.name: truth for truth in direct_truth.TRUTHS}
# told in docs/statistics.md: a camp too small to be met, and strikes of one side alone far apart
NOT_KEPT = {("one in ten hates b", 8), *(("strikes of one far apart", n) for n in (8, 12, 24, 48))}


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


@pytest.mark.parametrize("share", [0.65, 0.8])
def test_power_is_near_that_of_a_plain_two_way_test(share):
    ours, plain, _ = direct_rates.power_row(TRUTHS["normal"], share, 24, 3, 150, 0)
    assert ours >= plain - 0.03
    assert ours >= 0.95 or share < 0.8


@pytest.mark.slow
@pytest.mark.parametrize("listeners", [8, 12, 24, 48])
@pytest.mark.parametrize("name", TRUTHS)
@pytest.mark.parametrize("wrong", ["supported, truth even", "contradicted, truth .60"])
def test_no_word_is_wrong_more_often_than_alpha(wrong, name, listeners):
    if (name, listeners) in NOT_KEPT:
        pytest.skip("told in docs/statistics.md")
    n = 1000
    rate = direct_rates.wrong_rate(direct_rates.CASES[wrong], TRUTHS[name], n, listeners, 3)
    assert rate <= binom.ppf(0.999, n, 0.05) / n


@pytest.mark.slow
@pytest.mark.parametrize("truth", direct_rates.SPLIT, ids=lambda one: one.name)
def test_a_split_panel_is_not_called_the_same(truth):
    rate = direct_rates.wrong_rate(direct_rates.CASES["same, listeners outside"], truth, 500, 24, 3)
    assert rate <= binom.ppf(0.999, 500, 0.05) / 500
