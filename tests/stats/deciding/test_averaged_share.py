"""Shares of several pairs taken together: against a t-test of each listener's own mean, and by simulation."""

import numpy as np
import pytest
from scipy import stats as scipy_stats

from stats.deciding import averaged_share, direct_share
from stats.deciding.direct_share import DirectShare
from stats.errors import BadData

N, PER_PAIR = 20, 6
Answers = np.ndarray


def _share(
    chosen: Answers, *, alpha: float = 0.05, strikes: tuple[Answers, Answers] | None = None
) -> DirectShare:
    """chosen[listener, trial]"""
    n, m = chosen.shape
    who = np.repeat(np.arange(n), m)
    sides = {} if strikes is None else {"strike_more": strikes[0].ravel(), "strike_than": strikes[1].ravel()}
    return direct_share.estimate(chosen.ravel(), who, alpha=alpha, **sides)


def _symmetric(rng: np.random.Generator) -> tuple[Answers, Answers]:
    """Two pairs whose listeners' means lie evenly about one half: no skewness to correct."""
    half = [rng.permuted((rng.random((N // 2, PER_PAIR)) < 0.5).astype(float), axis=1) for _ in range(2)]
    both = [np.vstack([one, 1.0 - one]) for one in half]
    return both[0], both[1]


def test_without_strikes_it_is_students_t_of_the_listeners_own_means() -> None:
    one, other = _symmetric(np.random.default_rng(3))
    found = averaged_share.average([_share(one), _share(other)], alpha=0.05)
    own = (one.mean(axis=1) + other.mean(axis=1)) / 2
    wanted = scipy_stats.ttest_1samp(own, 0.5).confidence_interval(0.90)  # two-sided 90: one-sided 95
    assert found.share == pytest.approx(own.mean(), abs=1e-12)
    assert (found.lower, found.upper) == pytest.approx((wanted.low, wanted.high), abs=1e-12)
    assert found.df == N - 1


def test_an_interaction_is_the_t_test_of_each_listeners_difference() -> None:
    """The mean of one share and the other turned round lies half the difference above even chances."""
    one, other = _symmetric(np.random.default_rng(4))
    found = averaged_share.average([_share(one), _share(1.0 - other)], alpha=0.05)
    difference = one.mean(axis=1) - other.mean(axis=1)
    wanted = scipy_stats.ttest_rel(one.mean(axis=1), other.mean(axis=1)).confidence_interval(0.90)
    assert 2 * (found.share - 0.5) == pytest.approx(difference.mean(), abs=1e-12)
    assert [2 * (end - 0.5) for end in (found.lower, found.upper)] == pytest.approx(
        [wanted.low, wanted.high], abs=1e-12
    )


def test_the_mean_of_one_pair_is_that_pair() -> None:
    chosen = (np.random.default_rng(6).random((N, PER_PAIR)) < 0.6).astype(float)
    alone = _share(chosen)
    found = averaged_share.average([alone], alpha=0.05)
    assert (found.share, found.lower, found.of) == (
        pytest.approx(alone.share),
        pytest.approx(alone.lower),
        alone.of,
    )


def test_one_pair_taken_twice_is_that_pair() -> None:
    """Nothing new was asked: the limits are those of the pair, strikes with it."""
    rng = np.random.default_rng(5)
    chosen = (rng.random((N, PER_PAIR)) < 0.7).astype(float)
    strikes = (rng.integers(3, size=chosen.shape), rng.integers(3, size=chosen.shape))
    alone = _share(chosen, strikes=strikes)
    twice = averaged_share.average([alone, alone], alpha=0.05, shares_strikes=True)
    assert (twice.share, twice.lower, twice.upper, twice.se) == pytest.approx(
        (alone.share, alone.lower, alone.upper, alone.se), abs=1e-12
    )


def test_strikes_of_different_pairs_add_their_variances_by_the_squares_of_the_weights() -> None:
    """They are other sounds: independent. Where pairs share a condition the standard errors add up."""
    rng = np.random.default_rng(8)
    parts = []
    for _ in range(2):
        strikes = (rng.integers(3, size=(N, PER_PAIR)), rng.integers(3, size=(N, PER_PAIR)))
        chosen = (rng.random((N, PER_PAIR)) < 0.5 + 0.15 * (strikes[0] - strikes[1])).astype(float)
        parts.append(_share(chosen, strikes=strikes))
    one, other = (part.variance_strikes for part in parts)
    found = averaged_share.average(parts, alpha=0.05, weights=[0.25, 0.75])
    assert min(one, other) > 0
    assert found.share == pytest.approx(0.25 * parts[0].share + 0.75 * parts[1].share, abs=1e-12)
    assert found.variance_strikes == pytest.approx(0.25**2 * one + 0.75**2 * other, rel=1e-12)
    shared = averaged_share.average(parts, alpha=0.05, weights=[0.25, 0.75], shares_strikes=True)
    together = (0.25 * np.sqrt(one) + 0.75 * np.sqrt(other)) ** 2
    assert shared.variance_strikes == pytest.approx(together, rel=1e-12)
    assert shared.df_strikes == pytest.approx(min(part.df_strikes for part in parts), rel=1e-12)


def test_the_order_s_pull_is_the_weighted_mean_and_unknown_where_one_is() -> None:
    """Of four answers in turn, heard first and second: all first ones chosen pulls by a half, none by 0."""
    who, first = np.repeat(np.arange(N), 4), np.tile([1.0, 0.0], 2 * N)
    pulled = direct_share.estimate(first, who, more_first=first)
    even = direct_share.estimate(np.tile([1.0, 1.0, 0.0, 0.0], N), who, more_first=first)
    unknown = direct_share.estimate(first, who)
    assert (pulled.order, even.order, unknown.order) == (pytest.approx(0.5), pytest.approx(0.0), None)
    found = averaged_share.average([pulled, even], alpha=0.05, weights=[0.75, 0.25])
    assert found.order == pytest.approx(0.375)
    assert averaged_share.average([pulled, unknown], alpha=0.05).order is None


def test_what_is_told_of_the_pairs_is_told_once_and_nothing_besides() -> None:
    """Neither pair has an order known, so nothing is said of one order."""
    one = _share(np.tile([1.0, 0.0], (4, 1)))
    found = averaged_share.average([one, one], alpha=0.05)
    assert found.warnings == one.warnings == (direct_share.NO_STRIKES,)


def test_complete_agreement_stays_within_the_exact_limit() -> None:
    """All of 12 listeners always: Clopper & Pearson's lower limit is alpha^(1/n)."""
    always = np.ones((12, PER_PAIR))
    found = averaged_share.average([_share(always), _share(always)], alpha=0.05)
    assert found.lower == pytest.approx(0.05 ** (1 / 12), abs=1e-12)


def test_listeners_must_be_the_same_and_weights_whole() -> None:
    one = _share(np.ones((4, 2)))
    with pytest.raises(BadData, match="the same listeners"):
        averaged_share.average([one, _share(np.ones((5, 2)))], alpha=0.05)
    with pytest.raises(BadData, match="sum to 1"):
        averaged_share.average([one, one], alpha=0.05, weights=[0.5, 0.6])
    with pytest.raises(BadData, match="sum to 1"):
        averaged_share.average([], alpha=0.05)


def _panel(
    rng: np.random.Generator, logits: tuple[float, float], *, shared: bool, sd: float = 0.8
) -> DirectShare:
    """Two pairs, three strikes a condition; normal listeners and strikes; `than` shared or not."""
    strike_sd, parts = 0.5, []
    own = rng.normal(0, sd, N)
    common = rng.normal(0, strike_sd, 3)
    for logit in logits:
        more = rng.normal(0, strike_sd, 3)
        than = common if shared else rng.normal(0, strike_sd, 3)
        a, b = np.tile(np.arange(3), (N, 3)), np.tile(np.repeat(np.arange(3), 3), (N, 1))
        heard = logit + (own + rng.normal(0, sd, N))[:, None] + more[a] - than[b]
        chosen = (rng.random(heard.shape) < 1 / (1 + np.exp(-heard))).astype(float)
        parts.append(_share(chosen, strikes=(a, b)))
    return averaged_share.average(parts, alpha=0.05, shares_strikes=shared)


@pytest.mark.slow
@pytest.mark.parametrize("shared", [False, True])
@pytest.mark.parametrize("logits", [(0.0, 0.0), (0.9, -0.9)], ids=["both even", "opposite"])
def test_a_true_mean_of_one_half_is_called_more_at_most_as_often_as_alpha(
    logits: tuple[float, float], shared: bool
) -> None:
    """800 panels: 5 % and three standard errors (2.3 %)."""
    rng = np.random.default_rng(11)
    wrong = sum(_panel(rng, logits, shared=shared).lower > 0.5 for _ in range(800))
    assert wrong / 800 <= 0.05 + 0.023
