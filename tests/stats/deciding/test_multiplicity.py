"""Several questions at once: corrections by hand, max-t against exact distributions."""

import numpy as np
import pytest
from scipy import stats as distributions

from stats.deciding import multiplicity
from stats.errors import StatsError

P = [0.01, 0.04, 0.03, 0.005]


@pytest.mark.parametrize(
    ("method", "expected"),
    [  # worked by hand from the sorted 0.005, 0.01, 0.03, 0.04
        ("holm", [0.03, 0.06, 0.06, 0.02]),
        ("hochberg", [0.03, 0.04, 0.04, 0.02]),
        ("benjamini-hochberg", [0.02, 0.04, 0.04, 0.02]),
    ],
)
def test_corrections_agree_with_those_worked_by_hand(method, expected):
    found = multiplicity.adjust(P, method=method)
    np.testing.assert_allclose(found.p_adjusted, expected, atol=1e-15)
    assert found.rejected == tuple(p <= 0.05 for p in expected)


def test_order_of_the_questions_does_not_matter():
    turned = multiplicity.adjust(P[::-1])
    assert turned.p_adjusted[::-1] == multiplicity.adjust(P).p_adjusted


def test_one_contrast_is_its_own_family():
    found = multiplicity.max_t([1.5], [[0.25]], df=7)
    assert found.p_adjusted[0] == pytest.approx(2 * distributions.t.sf(3.0, 7), abs=1e-12)
    assert found.critical == pytest.approx(distributions.t.ppf(0.975, 7), abs=1e-8)


@pytest.mark.parametrize("df", [5.0, 30.0, np.inf])
def test_independent_contrasts_with_known_error_multiply(df):
    # three independent normal contrasts: 1 - (1 - p)^3; with finite df they share the radius, so only
    # bounds hold
    found = multiplicity.max_t([2.0, 2.2, -1.0], np.eye(3), df=df)
    if np.isinf(df):
        np.testing.assert_allclose(found.p_adjusted, 1 - (1 - found.p) ** 3, atol=multiplicity.CHANCE_ERROR)
    assert (found.p_adjusted >= found.p).all()
    assert (found.p_adjusted <= np.minimum(1, 3 * found.p) + multiplicity.CHANCE_ERROR).all()


@pytest.mark.parametrize(("k", "df"), [(3, 10.0), (5, 20.0), (6, 59.3), (9, 31.0)])
def test_all_pairs_of_means_are_the_studentised_range(k, df):
    pairs = [(a, b) for a in range(k) for b in range(a)]
    rows = np.array([np.eye(k)[a] - np.eye(k)[b] for a, b in pairs])
    found = multiplicity.max_t(rows @ np.arange(k), rows @ rows.T, df=df)
    expected = distributions.studentized_range.sf(np.abs(found.t) * np.sqrt(2), k, df)
    np.testing.assert_allclose(found.p_adjusted, expected, atol=multiplicity.CHANCE_ERROR)
    critical = distributions.studentized_range.ppf(0.95, k, df) / np.sqrt(2)
    assert found.critical == pytest.approx(critical, abs=multiplicity.CRITICAL_ERROR)


@pytest.mark.parametrize("k", [4, 6])
def test_the_last_bits_of_a_covariance_move_no_digit(k):
    """All pairs of means have one eigenvalue k - 1 times over: its eigenvectors are arbitrary."""
    pairs = [(a, b) for a in range(k) for b in range(a)]
    rows = np.array([np.eye(k)[a] - np.eye(k)[b] for a, b in pairs])
    exact, rng = rows @ rows.T, np.random.default_rng(3)
    noise = 1e-14 * rng.normal(size=exact.shape)
    one = multiplicity.max_t(rows @ np.arange(k), exact, df=40)
    other = multiplicity.max_t(rows @ np.arange(k), exact + noise + noise.T, df=40)
    assert other.critical == pytest.approx(one.critical, rel=1e-10)
    np.testing.assert_allclose(other.p_adjusted, one.p_adjusted, rtol=1e-9)


@pytest.mark.parametrize("alternative", ["two-sided", "greater", "less"])
def test_comparisons_with_a_control_agree_with_the_reference_library(alternative):
    rng = np.random.default_rng(9)
    groups = [rng.normal(mean, 1.0, 8) for mean in (0.0, 0.9, -0.7, 0.2)]
    means, variance = np.array([g.mean() for g in groups]), np.mean([g.var(ddof=1) for g in groups])
    covariance = variance / 8 * (np.eye(3) + 1)
    found = multiplicity.max_t(means[1:] - means[0], covariance, df=28, alternative=alternative)
    expected = distributions.dunnett(
        *groups[1:], control=groups[0], alternative=alternative, rng=np.random.default_rng(1)
    )
    np.testing.assert_allclose(
        found.p_adjusted, expected.pvalue, atol=2e-3
    )  # the library's own tolerance is 1e-3


def test_one_sided_family_accepts_negative_extremes():
    found = multiplicity.max_t([-1.0, -2.0], np.eye(2), alternative="greater")
    expected = 1 - distributions.norm.cdf([-1.0, -2.0]) ** 2
    np.testing.assert_allclose(found.p_adjusted, expected, atol=multiplicity.CHANCE_ERROR)
    assert np.isinf(found.upper).all()


def test_same_data_give_the_same_bits():
    rows = np.array(
        [[1.0, -1.0, 0.0, 0.0], [0.0, 1.0, -1.0, 0.0], [0.0, 0.0, 1.0, -1.0], [1.0, 0.0, 0.0, -1.0]]
    )
    first, second = (multiplicity.max_t(rows.sum(axis=1) + 1, rows @ rows.T, df=9) for _ in range(2))
    assert first.p_adjusted.tobytes() == second.p_adjusted.tobytes()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: multiplicity.adjust([]), "at least one"),
        (lambda: multiplicity.adjust([1.2]), "from 0 to 1"),
        (lambda: multiplicity.adjust([0.2], method="sidak"), "wanted one of holm"),
        (lambda: multiplicity.max_t([1.0, 2.0], [[1.0]]), "covariance of shape"),
        (lambda: multiplicity.max_t([1.0], [[0.0]]), "variances above 0"),
        (lambda: multiplicity.max_t([1.0, 1.0], [[1.0, 0.0], [0.0, 0.0]]), "variances above 0"),
        (lambda: multiplicity.max_t([1.0, np.nan], np.eye(2)), "finite estimates"),
        (lambda: multiplicity.max_t([1.0, 1.0], [[1.0, np.nan], [np.nan, 1.0]]), "finite estimates"),
        (lambda: multiplicity.max_t([1.0, 1.0], [[1.0, 2.0], [2.0, 1.0]]), "not a covariance"),
        (lambda: multiplicity.max_t([1.0], [[1.0]], df=0), "df > 0"),
        (lambda: multiplicity.max_t([1.0], [[1.0]], level=1.0), "level < 1"),
        (lambda: multiplicity.max_t([1.0], [[1.0]], level=0.0), "0 < level"),
        (lambda: multiplicity.max_t([1.0], [[1.0]], alternative="more"), "wanted one of two-sided"),
    ],
)
def test_what_cannot_be_corrected_is_named(call, message):
    with pytest.raises(StatsError, match=message):
        call()


@pytest.mark.parametrize(("alternative", "open_side"), [("less", "lower"), ("greater", "upper")])
def test_a_one_sided_family_is_open_on_the_other_side(alternative, open_side):
    """With one contrast the limit is the t quantile's, and the other side has none."""
    found = multiplicity.max_t([0.4], [[0.04]], df=10, alternative=alternative)
    quantile = distributions.t.ppf(found.level, 10)
    wanted = {"lower": 0.4 - quantile * 0.2, "upper": 0.4 + quantile * 0.2}
    wanted[open_side] = -np.inf if open_side == "lower" else np.inf
    assert found.lower[0] == pytest.approx(wanted["lower"], abs=1e-9)
    assert found.upper[0] == pytest.approx(wanted["upper"], abs=1e-9)


def test_p_values_of_exactly_nought_and_one_are_p_values():
    assert list(multiplicity.adjust([0.0, 1.0]).p_adjusted) == [0.0, 1.0]
