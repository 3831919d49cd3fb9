"""Shares over listeners who differ, and Fieller's ratio."""

import math

import numpy as np
import pytest
from scipy import integrate, special, stats

from stats.errors import BadData
from stats.measured import ratio_interval
from stats.mixed import marginal_share


@pytest.mark.parametrize(("mean", "sd"), [(0.5, 0.5), (1.5, 2.0), (-2.0, 1.0), (3.0, 4.0)])
def test_share_is_the_integral_over_listeners(mean, sd):
    def density(z: float) -> float:
        return float(special.expit(mean + sd * z) * stats.norm.pdf(z))

    value = integrate.quad(density, -12, 12, epsabs=1e-12)[0]
    assert marginal_share.share(mean, sd) == pytest.approx(value, abs=1e-4 if sd == 4.0 else 1e-6)


def test_a_panel_that_differs_chooses_nearer_to_even_than_its_average_listener():
    assert 0.5 < marginal_share.share(1.0, 1.5) < marginal_share.share(1.0, 0.0)
    assert marginal_share.share(1.0, 0.0) == pytest.approx(special.expit(1.0))


def test_mean_logit_undoes_share():
    for share in (0.55, 0.6, 0.9):
        assert marginal_share.share(marginal_share.mean_logit(share, 1.2), 1.2) == pytest.approx(share)
    with pytest.raises(BadData, match="between 0 and 1"):
        marginal_share.mean_logit(1.0, 1.0)


def test_share_outside_counts_both_tails():
    assert marginal_share.share_outside(0.0, 1.0, 1.0) == pytest.approx(2 * stats.norm.sf(1.0))
    assert marginal_share.share_outside(0.5, 0.0, 1.0) == 0.0
    assert marginal_share.share_outside(1.5, 0.0, 1.0) == 1.0


def test_spread_upper_covers_the_true_spread():
    """One-sided 95 %: 400 panels of 20 listeners, 380 expected, 366 or more with chance 0.999."""
    rng = np.random.default_rng(8)
    true, noise, n, held = 0.6, 0.5, 20, 0
    for _ in range(400):
        effects = rng.normal(0, true, n) + rng.normal(0, noise, n)
        total = float(np.var(effects, ddof=1))
        spread = math.sqrt(max(total - noise**2, 0.0))
        variance = max(total, noise**2) / n
        held += marginal_share.spread_upper(spread, variance, n, alpha=0.05) >= true
    assert held >= 366


def test_fieller_without_error_in_the_denominator_is_the_plain_interval():
    found = ratio_interval.fieller(2.0, 4.0, numerator_se=0.5, denominator_se=0.0)
    reach = stats.norm.ppf(0.975) * 0.5 / 4.0
    assert (found.lower, found.upper) == pytest.approx((0.5 - reach, 0.5 + reach))


def test_fieller_covers_a_true_ratio():
    """95 %: 2000 draws, 1900 expected, standard deviation 9.7; within 3 of them."""
    rng = np.random.default_rng(9)
    numerator, denominator = rng.normal(1.0, 0.3, 2000), rng.normal(0.5, 0.08, 2000)
    held = 0
    for a, b in zip(numerator, denominator, strict=True):
        found = ratio_interval.fieller(a, b, numerator_se=0.3, denominator_se=0.08)
        held += not found.bounded or found.lower <= 2.0 <= found.upper
    assert 1871 <= held <= 1929


def test_fieller_says_when_the_denominator_is_not_clearly_non_zero():
    found = ratio_interval.fieller(1.0, 0.1, numerator_se=0.2, denominator_se=0.1)
    assert not found.bounded
    assert (found.lower, found.upper) == (-math.inf, math.inf)
    with pytest.raises(BadData, match="denominator is 0"):
        ratio_interval.fieller(1.0, 0.0, numerator_se=0.2, denominator_se=0.1)


@pytest.mark.parametrize(
    ("effects", "bound"), [((1.0, -1.0), 0.847), ((1.0, 0.0, -1.0), 0.9), ((2.0, 0.1), 1.0)]
)
def test_no_panel_has_more_listeners_outside_than_chebyshev_allows(
    effects: tuple[float, ...], bound: float
) -> None:
    # Chebyshev's inequality about zero, exact for two camps at +-bound
    own = np.array(effects)
    outside = float((np.abs(own) >= bound).mean())
    assert outside <= marginal_share.share_outside_at_most(own.mean(), own.std(), bound)
    assert marginal_share.share_outside_at_most(0.0, bound, bound) == 1.0


def test_ratio_of_geometric_means_is_welch_on_the_logarithms():
    # R 4.2.2: t.test(log(a), log(b), conf.level = 0.9), exponentials of its interval; printed to 14 digits
    a, b = [1.235855, 1.234452, 1.237195], [0.813008, 0.805901, 0.827088]
    found = ratio_interval.of_geometric_means(a, b, level=0.9)
    assert found.estimate == pytest.approx(1.515830180635, abs=5e-13)
    assert (found.lower, found.upper) == pytest.approx((1.4826687543487, 1.5497332966548), abs=5e-13)
    assert found.df == pytest.approx(2.0282814232364, abs=5e-13)
    turned = ratio_interval.of_geometric_means(b, a, level=0.9)
    assert (1 / turned.upper, 1 / turned.lower) == pytest.approx((found.lower, found.upper))
    scaled = ratio_interval.of_geometric_means([10 * x for x in a], [10 * x for x in b], level=0.9)
    assert scaled.lower == pytest.approx(found.lower)


@pytest.mark.parametrize("bad", [[1.0], [1.0, 0.0], [1.0, -2.0]])
def test_ratio_of_means_needs_two_positive_values_each(bad):
    with pytest.raises(BadData, match="at least 2 each, all positive"):
        ratio_interval.of_geometric_means(bad, [1.0, 2.0])


def test_share_of_a_panel_without_doubt_is_all_or_nothing():
    assert (marginal_share.share(math.inf, 1.0), marginal_share.share(-math.inf, 1.0)) == (1.0, 0.0)


@pytest.mark.parametrize(
    ("mean", "sd", "share"),
    [(0.0, 0.0, 0.0), (-0.1, 0.0, 1.0), (0.1, 0.0, 0.0), (1.0, 2.0, 0.308538), (-3.0, 2.0, 0.933193)],
)
def test_share_below_zero_is_the_normal_distribution_there(mean, sd, share):
    """Table of the normal distribution: 0.5 -> 0.691462, 1.5 -> 0.933193."""
    assert marginal_share.share_below_zero(mean, sd) == pytest.approx(share, abs=5e-7)


def test_share_outside_of_a_panel_off_centre_adds_two_unlike_tails():
    """Below -1 lies what is 0.75 below the mean's 0.5 (0.226627), above 1 what is 0.25 above (0.401294)."""
    assert marginal_share.share_outside(0.5, 2.0, 1.0) == pytest.approx(0.226627 + 0.401294, abs=1e-6)
    assert marginal_share.share_outside(-0.5, 2.0, 1.0) == marginal_share.share_outside(0.5, 2.0, 1.0)
    assert (marginal_share.share_outside(1.0, 0.0, 1.0), marginal_share.share_outside(0.99, 0.0, 1.0)) == (
        1,
        0,
    )


def test_chebyshev_counts_mean_and_spread_and_never_more_than_all():
    assert marginal_share.share_outside_at_most(0.3, 0.4, 1.0) == pytest.approx(0.25)  # 0.09 + 0.16
    assert marginal_share.share_outside_at_most(0.3, 0.4, 2.0) == pytest.approx(0.0625)
    assert marginal_share.share_outside_at_most(3.0, 1.0, 1.0) == 1.0


@pytest.mark.parametrize(
    ("spread", "mean_variance", "n", "limit"),
    [
        # chi-square at 0.05: 10.1170 with 19 degrees of freedom, 3.94030 with 10 (tables)
        (0.6, 0.05, 20, math.sqrt(1.0 * 19 / 10.1170 - 0.64)),  # 20 * 0.05 = 1, of which 0.64 is noise
        (0.6, 0.01, 20, math.sqrt(0.36 * 19 / 10.1170)),  # less than the spread itself: no noise is left
        (1.0, 0.2, 11, math.sqrt(2.2 * 10 / 3.94030 - 1.2)),
    ],
)
def test_spread_upper_by_hand(spread, mean_variance, n, limit):
    assert marginal_share.spread_upper(spread, mean_variance, n, alpha=0.05) == pytest.approx(limit, rel=1e-5)


def test_spread_upper_needs_two_listeners():
    assert marginal_share.spread_upper(1.0, 0.5, 2, alpha=0.05) > 1.0
    with pytest.raises(BadData, match="at least 2"):
        marginal_share.spread_upper(1.0, 0.5, 1, alpha=0.05)


@pytest.mark.parametrize("covariance", [0.0, 0.05, -0.05])
@pytest.mark.parametrize("df", [8.0, math.inf])
def test_fiellers_limits_are_where_the_difference_from_the_ratio_is_just_significant(covariance, df):
    """Fieller's definition: (a - r b)^2 = t^2 (va - 2 r cov + r^2 vb) at both limits, and less between."""
    found = ratio_interval.fieller(
        2.0, 3.0, numerator_se=0.3, denominator_se=0.4, covariance=covariance, df=df, level=0.9
    )
    t = stats.t.ppf(0.95, df)

    def excess(ratio: float) -> float:
        return (2.0 - 3.0 * ratio) ** 2 - t**2 * (0.09 - 2 * ratio * covariance + ratio**2 * 0.16)

    assert excess(found.lower) == pytest.approx(0.0, abs=1e-12)
    assert excess(found.upper) == pytest.approx(0.0, abs=1e-12)
    assert found.lower < found.estimate < found.upper
    assert found.estimate == pytest.approx(2 / 3)
    assert excess(found.estimate) < 0


@pytest.mark.parametrize(("denominator", "bounded"), [(1.97, True), (1.95, False)])
def test_fieller_is_bounded_from_the_level_on_at_which_the_denominator_is_not_zero(denominator, bounded):
    """The 95 % point of the normal distribution is 1.96."""
    assert ratio_interval.fieller(1.0, denominator, numerator_se=0.1, denominator_se=1.0).bounded is bounded


@pytest.mark.parametrize("errors", [(-0.1, 0.1), (0.1, -0.1), (math.inf, 0.1)])
def test_fieller_refuses_errors_that_are_none(errors):
    with pytest.raises(BadData, match="standard errors"):
        ratio_interval.fieller(1.0, 1.0, numerator_se=errors[0], denominator_se=errors[1])


def test_a_ratio_of_values_that_do_not_vary_has_no_width():
    found = ratio_interval.of_geometric_means([2.0, 2.0], [4.0, 4.0])
    assert (found.estimate, found.lower, found.upper) == pytest.approx((0.5, 0.5, 0.5))
