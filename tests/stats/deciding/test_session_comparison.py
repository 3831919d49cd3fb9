"""Whether sessions differ, against SciPy and statsmodels."""

import numpy as np
import pytest
from scipy import stats as scipy_stats
from statsmodels.stats.multivariate import test_mvmean as one_sample_mean

from stats.deciding import session_comparison
from stats.errors import BadData

TIGHT = 1e-10


def own(n: int = 15, k: int = 2, seed: int = 3) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return 0.6 + 0.2 * rng.standard_normal((n, 1)) + 0.1 * rng.standard_normal((n, k)) + 0.05 * np.arange(k)


def test_two_sessions_give_the_paired_t_test() -> None:
    shares = own()
    expected = scipy_stats.ttest_rel(shares[:, 1], shares[:, 0])
    limits = expected.confidence_interval(0.95)
    found = session_comparison.within(shares)
    assert found.p == pytest.approx(expected.pvalue, rel=TIGHT)
    assert (found.lower, found.upper) == pytest.approx((limits.low, limits.high), rel=TIGHT)


def test_three_sessions_give_hotellings_t_squared() -> None:
    shares = own(k=3)
    steps = np.diff(shares, axis=1)
    expected = one_sample_mean(steps, np.zeros(2))
    assert session_comparison.within(shares).p == pytest.approx(expected.pvalue, rel=1e-8)


def test_the_order_in_which_sessions_are_named_does_not_change_the_test() -> None:
    shares = own(k=3)
    turned = session_comparison.within(shares[:, [2, 0, 1]])
    assert turned.p == pytest.approx(session_comparison.within(shares).p, rel=1e-9)


def test_other_listeners_in_each_session_give_welchs_test() -> None:
    first, last = own()[:9, 0], own(seed=4)[:12, 1]
    expected = scipy_stats.ttest_ind(last, first, equal_var=False)
    limits = expected.confidence_interval(0.95)
    found = session_comparison.between([first, last])
    assert found.p == pytest.approx(expected.pvalue, rel=TIGHT)
    assert (found.lower, found.upper) == pytest.approx((limits.low, limits.high), rel=TIGHT)


def test_means_and_limits_of_each_session_are_students() -> None:
    shares = own()
    found = session_comparison.within(shares)
    one = scipy_stats.ttest_1samp(shares[:, 0], 0).confidence_interval(0.95)
    assert (found.lowers[0], found.uppers[0]) == pytest.approx((one.low, one.high), rel=TIGHT)
    assert found.n == (15, 15)


def test_listeners_who_do_not_differ_at_all_leave_no_test() -> None:
    assert session_comparison.within(np.full((9, 2), 0.5)).p is None
    assert session_comparison.between([np.full(5, 0.5), np.full(5, 0.6)]).p is None


def test_too_few_listeners_are_refused() -> None:
    with pytest.raises(BadData, match="2 listeners in 2 sessions"):
        session_comparison.within(own(n=2))
    with pytest.raises(BadData, match="by session"):
        session_comparison.between([np.array([0.5]), np.array([0.5, 0.6])])
