"""The chance of a verdict by formula: against a closed form, and against drawn answers."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats as reference

from stats.deciding import share_power
from stats.errors import StatsError
from stats.mixed import marginal_share
from tests import direct_rates, direct_truth

PAIR = share_power.PlannedPair(24, 18, (3, 3), 0.8, 0.6, 0.3)


def test_with_one_strike_and_many_answers_it_is_the_power_of_a_paired_t():
    pair = share_power.PlannedPair(12, 100_000, (1, 1), 0.5, 0.8)
    own, weights = share_power.own_shares(pair)
    mean = weights @ own
    sd = np.sqrt(weights @ (own - mean) ** 2)
    exact = reference.nct.sf(reference.t.ppf(0.95, 11), 11, (mean - 0.5) / sd * np.sqrt(12))
    assert share_power.more(pair, smallest=0.5, alpha=0.05) == pytest.approx(exact, abs=0.01)


def test_variances_are_those_of_drawn_shares():
    rng = np.random.default_rng(5)
    made = share_power.expected(PAIR)
    listeners, strikes = rng.normal(0, 0.6, (4000, 24, 1)), rng.normal(0, 0.3, (2, 4000, 1, 3, 3))
    more, than = strikes[0][..., :, :1], strikes[1][..., :1, :]
    chance = 1 / (1 + np.exp(-(0.8 + listeners[..., None] + more - than)))
    share = (rng.random(chance.shape) < chance).mean(axis=(1, 2, 3))
    # 9 answers here, 18 there: half of the noise less
    total = made.from_listeners + made.noise + sum(made.from_strikes)
    assert share.mean() == pytest.approx(made.share, abs=5 * share.std() / np.sqrt(4000))
    assert share.var() == pytest.approx(total, rel=5 * np.sqrt(2 / 4000))


@pytest.mark.parametrize(("strikes", "share"), [(2, 0.8), (3, 0.65), (5, 0.65)])
def test_it_is_the_chance_found_with_drawn_answers(strikes, share):
    truth = replace(direct_truth.TRUTHS[0], order=0.0, order_sd=0.0, lapses=0.0)
    logit = marginal_share.mean_logit(share, np.sqrt(0.6**2 + 2 * 0.3**2))
    pair = replace(PAIR, strikes=(strikes, strikes), logit=logit)
    found, *_ = direct_rates.power_row(truth, share, 24, strikes, 300, 0)
    error = np.sqrt(found * (1 - found) / 300)
    assert share_power.more(pair, smallest=0.6, alpha=0.05) == pytest.approx(found, abs=3 * error + 0.02)


def test_same_needs_answers_and_listeners_who_are_alike():
    even = replace(PAIR, logit=0.0, spread_listeners=0.1, spread_strikes=0.1)
    at = {"smallest": 0.7, "alpha": 0.05, "limit_outside": 0.25}
    chances = [share_power.same(replace(even, answers=n), **at) for n in (8, 18, 40)]
    assert chances == sorted(chances)
    assert chances[0] < 0.3 < 0.8 < chances[2]
    assert share_power.same(replace(even, answers=40, spread_listeners=1.5), **at) < 0.05


def test_below_eight_listeners_there_is_no_verdict_to_find():
    assert share_power.more(replace(PAIR, listeners=7), smallest=0.6, alpha=0.05) == 0.0
    with pytest.raises(StatsError, match="at least 2 listeners"):
        share_power.expected(replace(PAIR, listeners=1))
