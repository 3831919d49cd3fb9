"""The share of direct choices: worked by hand, invariant, right where everybody agrees."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats as reference

from stats.deciding import direct_share, own_shares
from stats.deciding.strike_variance import StrikeVariance
from stats.errors import BadData, StatsError
from tests.stats import richardson


def panel(n_listeners: int, n_strikes: int, *, seed: int, mean: float = 0.5, strike_sd: float = 0.3):
    """Answers of a panel that meets every pair of strikes in both orders, and the columns to give."""
    rng = np.random.default_rng(seed)
    cells = np.array(
        [
            (i, s, t, f)
            for i in range(n_listeners)
            for s in range(n_strikes)
            for t in range(n_strikes)
            for f in (0, 1)
        ]
    )
    taste, more, than = rng.normal(mean, 0.6, n_listeners), *rng.normal(0, strike_sd, (2, n_strikes))
    logit = taste[cells[:, 0]] + more[cells[:, 1]] - than[cells[:, 2]] + 0.3 * (2 * cells[:, 3] - 1)
    chosen = (rng.random(len(cells)) < 1 / (1 + np.exp(-logit))).astype(float)
    return chosen, cells


def estimate(chosen, cells, **more):
    return direct_share.estimate(
        chosen, cells[:, 0], strike_more=cells[:, 1], strike_than=cells[:, 2], more_first=cells[:, 3], **more
    )


def test_one_answer_each_without_skewness_is_students_t_on_the_shares():
    own = np.array([0.2, 0.4, 0.4, 0.5, 0.5, 0.6, 0.6, 0.8])  # symmetric: no skewness
    chosen = np.concatenate([np.repeat([1.0, 0.0], [round(10 * p), 10 - round(10 * p)]) for p in own])
    found = direct_share.estimate(chosen, np.repeat(np.arange(8), 10), alpha=0.05)
    low, high = reference.t.interval(0.9, 7, own.mean(), own.std(ddof=1) / np.sqrt(8))
    assert (found.lower, found.upper) == (pytest.approx(low, abs=1e-12), pytest.approx(high, abs=1e-12))
    assert direct_share.p_above(found, 0.45) == pytest.approx(
        reference.ttest_1samp(own, 0.45, alternative="greater").pvalue, abs=1e-12
    )


def test_variances_are_the_mean_squares_of_a_two_way_table():
    """Clark 1973: in a full table each part is a mean square, the strikes' less half the noise with three."""
    chosen, cells = panel(24, 3, seed=7)
    found = estimate(chosen, cells)
    own = chosen.reshape(24, -1).mean(axis=1)
    assert found.variance_listeners == pytest.approx(own.var(ddof=1) / 24, rel=1e-12)
    by_hand = 0.0
    for column in (1, 2):
        table = np.array(
            [
                [chosen[(cells[:, 0] == i) & (cells[:, column] == s)].mean() for s in range(3)]
                for i in range(24)
            ]
        )
        of_strikes = ((table.mean(axis=0) - table.mean()) ** 2).sum()
        noise = ((table - table.mean(axis=1, keepdims=True)) ** 2).sum() / 24**2
        by_hand += max((of_strikes - 0.5 * noise) / (2 * 3) * 24 / (24 - 0.5), 0.0)
    assert found.variance_strikes == pytest.approx(by_hand, rel=1e-12)


def test_the_critical_value_is_that_of_listeners_and_of_strikes_weighed_by_variance():
    """Cochran 1964, Biometrics 20: sum of variance times Student's t, over the sum of variances."""
    found = estimate(*panel(12, 2, seed=3), alpha=0.05)
    t_listeners = reference.t.ppf(0.95, 11)
    t_strikes = reference.t.ppf(1 - direct_share.STRIKES_PART * 0.05, found.df_strikes)
    critical = (found.variance_listeners * t_listeners + found.variance_strikes * t_strikes) / found.se**2
    assert found.se**2 == pytest.approx(found.variance_listeners + found.variance_strikes, rel=1e-12)
    assert 1.0 <= found.df_strikes <= 2.0
    assert found.variance_strikes > 0
    assert reference.t.ppf(0.95, found.df) == pytest.approx(critical, rel=1e-6)


def test_strikes_that_always_went_together_are_trusted_less():
    """One part of variance: the strikes' own t is taken at ONE_PART of alpha."""
    chosen, cells = panel(12, 3, seed=3)
    cells = cells.copy()
    cells[:, 2] = cells[:, 1]
    found = estimate(chosen, cells, alpha=0.05)
    t_listeners = reference.t.ppf(0.95, 11)
    t_strikes = reference.t.ppf(1 - direct_share.ONE_PART * 0.05, found.df_strikes)
    critical = (found.variance_listeners * t_listeners + found.variance_strikes * t_strikes) / found.se**2
    assert direct_share.ONE_PART < direct_share.STRIKES_PART
    assert found.variance_strikes > 0
    assert reference.t.ppf(0.95, found.df) == pytest.approx(critical, rel=1e-6)


def test_with_two_strikes_a_spread_that_is_small_by_chance_lends_no_degrees_of_freedom():
    chosen, cells = panel(24, 2, seed=3, strike_sd=0.0)
    found = estimate(chosen, cells)
    assert found.variance_strikes > 0
    assert found.df < 6


def test_swapping_the_two_turns_share_and_limits():
    chosen, cells = panel(12, 2, seed=3)
    one = estimate(chosen, cells)
    turned = cells[:, [0, 2, 1, 3]] * [1, 1, 1, -1] + [0, 0, 0, 1]
    other = estimate(1 - chosen, turned)
    assert (other.share, other.lower, other.upper) == (
        pytest.approx(1 - one.share, abs=1e-12),
        pytest.approx(1 - one.upper, abs=1e-12),
        pytest.approx(1 - one.lower, abs=1e-12),
    )


def test_names_and_row_order_do_not_matter():
    chosen, cells = panel(12, 3, seed=5)
    one = estimate(chosen, cells)
    rows = np.random.default_rng(1).permutation(len(chosen))
    mixed = (cells * [-7, 3, -2, 1] + [100, 5, 9, 0])[rows]
    other = estimate(chosen[rows], mixed)
    assert (other.share, other.lower, other.se) == tuple(
        pytest.approx(v, abs=1e-12) for v in (one.share, one.lower, one.se)
    )


@pytest.mark.parametrize("n", [8, 24])
def test_complete_agreement_is_limited_exactly(n):
    """If a share of choices is theta or less, all n listeners agree with chance theta**n at most."""
    found = direct_share.estimate(np.ones(6 * n), np.repeat(np.arange(n), 6))
    assert (found.share, found.upper) == (1.0, 1.0)
    assert found.lower == pytest.approx(0.05 ** (1 / n), abs=1e-12)
    assert direct_share.p_above(found, 0.5) == pytest.approx(0.5**n, abs=1e-15)


@pytest.mark.parametrize(("always", "n"), [(30, 48), (9, 12), (23, 24)])
def test_where_every_listener_is_of_one_mind_limits_are_no_narrower_than_the_binomial_ones(always, n):
    chosen = np.repeat((np.arange(n) < always).astype(float), 6)
    found = direct_share.estimate(chosen, np.repeat(np.arange(n), 6))
    exact = reference.binomtest(always, n).proportion_ci(0.9, method="exact")
    assert found.lower <= exact.low + 1e-12
    assert found.upper >= exact.high - 1e-12
    by_count = reference.binomtest(always, n, 0.5, alternative="greater").pvalue
    assert direct_share.p_above(found, 0.5) >= by_count - 1e-15


@pytest.mark.parametrize("alpha", [0.05, 0.01, 0.003])
@pytest.mark.parametrize("mean", [0.0, 1.5, 4.0])
def test_limits_and_p_values_say_the_same(alpha, mean):
    found = estimate(*panel(16, 3, seed=11, mean=mean), alpha=alpha)
    assert direct_share.p_above(found, found.lower) == pytest.approx(alpha, rel=1e-6)
    if found.upper < 1:
        assert direct_share.p_below(found, found.upper) == pytest.approx(alpha, rel=1e-6)


def test_order_is_taken_off_where_one_was_heard_first_more_often():
    rng = np.random.default_rng(2)
    who = np.repeat(np.arange(400), 40)
    first = (rng.random(who.size) < 0.8).astype(float)
    chosen = (rng.random(who.size) < 0.5 + 0.2 * (2 * first - 1)).astype(float)
    found = direct_share.estimate(chosen, who, more_first=first)
    assert found.share == pytest.approx(0.5, abs=4 * found.se)
    assert found.order == pytest.approx(0.2, abs=0.02)


def lopsided_answers():
    """Six listeners of whom some heard one order far more often, and who follow it more or less."""
    rng = np.random.default_rng(9)
    who = np.repeat(np.arange(6), [8, 9, 10, 12, 14, 16])
    order = np.where(rng.random(who.size) < 0.1 + 0.05 * who, 1.0, -1.0)
    chosen = (rng.random(who.size) < 0.5 + 0.05 * who * order + 0.05 * who).astype(float)
    return chosen, who, order


def test_what_a_listener_adds_to_the_share_is_its_slope_in_that_listeners_weight():
    """The infinitesimal jackknife (Jaeckel 1972): weights enter the mean and the order's pull alike."""
    chosen, who, order = lopsided_answers()
    each = np.bincount(who)
    mean, lean = np.bincount(who, chosen) / each, np.bincount(who, order) / each
    about = order - lean[who]

    def share(weight):
        pull = (weight[who] * about * chosen).sum() / (weight[who] * about**2).sum()
        return (weight * (mean - pull * lean)).sum() / weight.sum()

    found = own_shares.estimate(chosen, who, order)
    assert abs(found.lopsided) > 0.1
    assert found.share.mean() == pytest.approx(share(np.ones(6)), abs=1e-12)
    for at, influence in zip(np.eye(6), found.influence, strict=True):
        richardson.slope(lambda h, at=at: share(1.0 + h * at)).check(influence / 6)


def test_the_order_s_pull_is_no_part_of_the_strikes():
    """Everybody follows the order and nothing else; one strike was heard first three times in four."""
    who, strike = (at.ravel() for at in np.mgrid[:8, :2, :4][:2])
    first = np.tile([1, 1, 1, 0, 1, 0, 0, 0], 8)
    found = direct_share.estimate(
        first.astype(float), who, strike_more=strike, strike_than=np.zeros(64), more_first=first
    )
    assert found.order == pytest.approx(0.5)
    assert found.variance_strikes == pytest.approx(0.0, abs=1e-20)


@pytest.mark.parametrize(("met_both", "is_told"), [(2, False), (3, True)])
def test_the_order_s_pull_is_told_from_three_listeners_who_met_both_orders(met_both, is_told):
    """Four answers each, of the others all in one order."""
    order = np.concatenate([np.tile([1.0, -1.0], 2 * met_both), np.ones(4 * (5 - met_both))])
    found = own_shares.estimate((order > 0).astype(float), np.repeat(np.arange(5), 4), order)
    assert (found.pull is not None) is is_told
    assert found.lopsided == pytest.approx((5 - met_both) / 5)
    assert found.pull is None or found.share == pytest.approx(0.5)


def test_one_order_throughout_is_told_and_takes_nothing_off():
    found = direct_share.estimate([1, 0, 1, 1], [0, 0, 1, 1], more_first=[1, 1, 1, 1])
    assert (found.share, found.order) == (0.75, None)
    assert direct_share.ONE_ORDER in found.warnings
    assert direct_share.ONE_ORDER not in direct_share.estimate([1, 0, 1, 1], [0, 0, 1, 1]).warnings


def test_strikes_have_no_more_degrees_of_freedom_than_listeners():
    """Three listeners, nine strikes: the strikes' own t is that of the listeners' 2 degrees of freedom."""
    critical = direct_share.critical_value(0.0, 2.0, 1.0, 8.0, 0.05)
    assert critical == pytest.approx(reference.t.ppf(1 - direct_share.STRIKES_PART * 0.05, 2), rel=1e-12)
    critical = direct_share.critical_value(0.0, 8.0, 1.0, 2.0, 0.05)
    assert critical == pytest.approx(reference.t.ppf(1 - direct_share.STRIKES_PART * 0.05, 2), rel=1e-12)


@pytest.mark.parametrize(("n", "kept"), [(8, 0.5), (24, 0.75), (72, 0.9)])
def test_skewness_is_believed_by_half_with_eight_listeners(n, kept):
    """Third moment of a mean: Fisher's k statistic, which is unbiased, over n^2; of it n / (n + 8)."""
    x = np.random.default_rng(n).exponential(size=n)
    third = reference.kstat(x, 3) / n**2
    assert direct_share.third_moment_of(x - x.mean()) == pytest.approx(kept * third, rel=1e-9)
    assert direct_share.third_moment_of(np.array([1.0, -1.0])) == 0.0


def test_a_listener_with_many_answers_weighs_as_one_with_few():
    chosen = np.concatenate([np.ones(90), np.zeros(10), [1.0, 0.0]])
    found = direct_share.estimate(chosen, np.repeat([0, 1, 2], [90, 10, 2]))
    assert found.share == pytest.approx((1 + 0 + 0.5) / 3)


def test_limits_never_leave_0_to_1():
    chosen = np.zeros(80)
    chosen[[0, 10, 11, 12, 13, 14]] = 1.0  # shares 0.1, 0.5 and six times 0
    low = direct_share.estimate(chosen, np.repeat(np.arange(8), 10))
    high = direct_share.estimate(1 - chosen, np.repeat(np.arange(8), 10))
    assert low.lower == 0.0
    assert high.upper == 1.0
    assert 0.0 < low.upper < 1.0


@pytest.mark.parametrize("part", [0.1, -0.1])
def test_level_s_part_moves_the_exact_limits_and_chances_with_the_share(part):
    """All 12 choose it, a tenth of it by level: 0.5 beyond level is 0.6 in all, by chance 0.6**12."""
    who = np.repeat(np.arange(12), 6)
    always, never = (
        replace(direct_share.estimate(made, who), level_part=part) for made in (np.ones(72), np.zeros(72))
    )
    assert direct_share.p_above(always, 0.5) == pytest.approx((0.5 + part) ** 12, rel=1e-12)
    assert direct_share.p_below(never, 0.5) == pytest.approx((0.5 - part) ** 12, rel=1e-12)
    assert direct_share.lower_limit(always, 0.05) == pytest.approx(0.05 ** (1 / 12) - part, abs=1e-12)
    assert direct_share.upper_limit(never, 0.05) == pytest.approx(1 - 0.05 ** (1 / 12) - part, abs=1e-12)


def test_answers_are_counted_by_listener_and_order():
    chosen, who, first = [1, 0, 1, 1, 0.5], [7, 7, 7, 9, 9], [1, 1, 0, 0, 1]
    found = direct_share.estimate(chosen, who, more_first=first)
    assert found.own_counts.tolist() == [[2, 1], [1, 1]]
    assert found.own_chosen.tolist() == [2.0, 1.5]
    assert (found.chosen, found.of, found.ties) == (3.5, 5, 1)
    assert direct_share.estimate(chosen, who).own_counts.tolist() == [[0, 3], [0, 2]]


def test_a_mean_of_own_shares_counts_no_answers_unless_they_are_given():
    own = own_shares.estimate(np.array([1.0, 0.0, 1.0, 1.0]), np.array([0, 0, 1, 1]), None)
    found = direct_share.of_own_shares(own, StrikeVariance((), ()), 4, ())
    assert (found.share, found.chosen, found.ties, found.of) == (0.75, 0.0, 0, 4)
    assert found.own_counts.shape == (0, 2)
    assert (found.df, found.df_listeners, found.alpha) == (1.0, 1.0, 0.0)
    counted = direct_share.of_own_shares(own, StrikeVariance((), ()), 4, (), answers_each=np.array([2, 2]))
    assert counted.own_counts.tolist() == [[0, 2], [0, 2]]


@pytest.mark.parametrize(
    ("arguments", "alpha", "error", "what"),
    [
        (([1, 0], [0]), 0.05, BadData, "one listener each"),
        (([1, 2], [0, 1]), 0.05, BadData, "0.5"),
        (([1, 0], [3, 3]), 0.05, BadData, "1 listeners met the pair"),
        (([1, 0], [0, 1]), 0.5, StatsError, "alpha 0.5"),
    ],
)
def test_what_cannot_be_estimated_is_said(arguments, alpha, error, what):
    with pytest.raises(error, match=what):
        direct_share.estimate(*arguments, alpha=alpha)
