"""Uncertainty over strikes and units, and differences of conditions."""

import numpy as np
import pytest
from scipy import stats

from listening.errors import SoundError
from listening.metrics import uncertainty


def test_strikes_of_one_unit_by_hand() -> None:
    found = uncertainty.summary([1.0, 2.0, 4.0])
    assert found.mean == pytest.approx(7 / 3)
    assert found.sd == pytest.approx(np.sqrt(7 / 3))
    assert found.standard_uncertainty == pytest.approx(np.sqrt(7 / 9))
    assert found.expanded_uncertainty == pytest.approx(2 * np.sqrt(7 / 9))
    assert (found.n_strikes, found.n_units, found.degrees_of_freedom, found.sd_units) == (3, 1, 2, None)


def test_several_units_count_as_units_not_as_strikes() -> None:
    found = uncertainty.summary([1.0, 1.2, 3.0, 3.2, 5.0], ["a", "a", "b", "b", "c"])
    assert found.mean == pytest.approx((1.1 + 3.1 + 5.0) / 3)
    assert found.sd_units == pytest.approx(np.std([1.1, 3.1, 5.0], ddof=1))
    assert found.standard_uncertainty == pytest.approx(np.std([1.1, 3.1, 5.0], ddof=1) / np.sqrt(3))
    assert found.degrees_of_freedom == 2
    assert found.sd == pytest.approx(np.sqrt((2 * 0.01 + 2 * 0.01) / 2))


def test_what_is_known_otherwise_adds_in_squares() -> None:
    found = uncertainty.summary([1.0, 2.0, 4.0], type_b=0.5)
    assert found.standard_uncertainty == pytest.approx(np.sqrt(7 / 9 + 0.25))


def test_one_strike_has_no_uncertainty() -> None:
    found = uncertainty.summary([3.0])
    assert (found.mean, found.sd, found.expanded_uncertainty) == (3.0, None, None)
    with pytest.raises(SoundError, match="at least two strikes"):
        uncertainty.difference(found, uncertainty.summary([1.0, 2.0]))


def test_the_interval_of_a_difference_is_welchs() -> None:
    rng = np.random.default_rng(2)
    a, b = rng.normal(5, 1, 6), rng.normal(4, 3, 4)
    found = uncertainty.difference(uncertainty.summary(a.tolist()), uncertainty.summary(b.tolist()))
    wanted = stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.95)
    assert [found.low, found.high] == pytest.approx([wanted.low, wanted.high], rel=1e-9)
    assert found.estimate == pytest.approx(a.mean() - b.mean())


def test_intervals_cover() -> None:
    """2000 draws with three strikes each: 95 % ± 3 binomial standard deviations is 0.935 and above."""
    rng, inside = np.random.default_rng(3), 0
    for _ in range(2000):
        a, b = (
            uncertainty.summary(rng.normal(mean, sd, 3).tolist()) for mean, sd in ((1.0, 1.0), (0.0, 1.0))
        )
        found = uncertainty.difference(a, b)
        inside += found.low <= 1.0 <= found.high
    assert inside / 2000 > 0.935


def test_identical_strikes_differ_by_exactly_nothing() -> None:
    same = uncertainty.summary([2.0, 2.0])
    found = uncertainty.difference(same, same)
    assert (found.estimate, found.low, found.high) == (0.0, 0.0, 0.0)


def test_units_must_match_values() -> None:
    with pytest.raises(SoundError, match="3 values but 2 units"):
        uncertainty.summary([1.0, 2.0, 3.0], ["a", "b"])
    with pytest.raises(SoundError, match="no values"):
        uncertainty.summary([])
