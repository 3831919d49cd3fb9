"""What multiplies a strike's variance: the trace of a quadratic form, from its definition."""

import numpy as np
import pytest

from stats.deciding import strike_variance

LISTENER = np.array([0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 3])
MORE = np.array([0, 1, 2, 0, 0, 1, 2, 1, 2, 2, 0, 1, 1, 2, 0])
THAN = np.array([0, 1, 1, 1, 0, 1, 0, 0, 1, 0, 1, 1, 0, 0, 0])
ONE_EACH = LISTENER % 3  # no listener met two strikes, so that strikes are compared between listeners


def _weight(listener):
    return 1.0 / (np.bincount(listener)[listener] * (listener.max() + 1.0))


def _about_own(effect, listener):
    own = np.bincount(listener, effect) / np.bincount(listener)
    return effect - own[listener]


def _about_mean(effect, listener):
    return effect - (_weight(listener) * effect).sum()


@pytest.mark.parametrize(("strike", "about"), [(MORE, _about_own), (ONE_EACH, _about_mean)])
def test_information_is_the_products_expectation_for_strikes_of_variance_one(strike, about):
    """Independent effects of variance 1: the expectation sums a unit effect's product over strikes."""
    weight, total = _weight(LISTENER), 0.0
    for number in range(3):
        effect = (strike == number).astype(float)
        residual = about(effect, LISTENER)
        side = strike_variance._side(residual, residual, weight, LISTENER, strike)
        total += side.product
    assert side.information == pytest.approx(total, rel=1e-12)


def test_what_two_sides_share_is_one_sides_product_for_the_other_sides_strikes(monkeypatch):
    monkeypatch.setattr(strike_variance, "noise_taken_off", lambda _: 1.0)
    for one, other in ((MORE, THAN), (THAN, MORE), (MORE, MORE)):
        weight, total = _weight(LISTENER), 0.0
        for number in range(other.max() + 1):
            residual = _about_own((other == number).astype(float), LISTENER)
            total += strike_variance._side(residual, residual, weight, LISTENER, one).product
        shared = strike_variance._shared(weight, LISTENER, [one, other])
        assert shared == pytest.approx(max(total, 0.0), rel=1e-12, abs=1e-15)


def test_sides_whose_strikes_went_together_have_one_variance_and_a_single_strike_none():
    rng = np.random.default_rng(1)
    residual = _about_own(rng.normal(0, 1, LISTENER.size), LISTENER)
    assert len(strike_variance.estimate(residual, residual, LISTENER, [MORE, MORE]).variance) == 1
    only = np.zeros_like(MORE)
    assert strike_variance.estimate(residual, residual, LISTENER, [only, only]).variance == ()
    assert len(strike_variance.estimate(residual, residual, LISTENER, [MORE, only]).variance) == 1


def test_strikes_that_always_went_together_share_what_either_side_shows():
    """Two sides of the same strikes: either product holds both sides' variance, and each has half of it."""
    effect = _about_own(np.array([0.5, -0.3, -0.2])[MORE], LISTENER)
    weight = _weight(LISTENER)
    side = strike_variance._side(effect, effect, weight, LISTENER, MORE)
    shared = strike_variance._shared(weight, LISTENER, [MORE, MORE])
    found = strike_variance.estimate(effect, effect, LISTENER, [MORE, MORE])
    of_one_strike = 2 * side.product / (2 * side.information + 2 * shared)
    weights = np.bincount(MORE, weight)
    assert of_one_strike > 0
    assert found.variance == (pytest.approx(of_one_strike * 2 * (weights**2).sum(), rel=1e-12),)


@pytest.mark.parametrize(("most", "is_read"), [(36, True), (35, False)], ids=["as many", "one fewer"])
def test_a_table_of_listeners_and_strikes_is_read_up_to_so_many_cells(monkeypatch, most, is_read):
    """4 listeners, 3 strikes on either side: 36 cells."""
    monkeypatch.setattr(strike_variance, "_MOST_CELLS", most)
    monkeypatch.setattr(strike_variance, "noise_taken_off", lambda _: 1.0)
    shared = strike_variance._shared(_weight(LISTENER), LISTENER, [MORE, MORE])
    assert (shared != 0.0) is is_read


@pytest.mark.parametrize(("both", "used"), [(7, "within"), (6, "between")])
def test_strikes_are_compared_within_listeners_from_a_tenth_of_a_crossed_designs_information_on(both, used):
    """20 listeners, two strikes, some met both: (7/20)^2 less its noise is 0.105 of the whole, 6 give 0.075.

    A crossed design of k strikes has the information sum of squared weights times 1 - 1/k.
    """
    listener = np.concatenate([np.repeat(np.arange(both), 2), np.arange(both, 20)])
    strike = np.concatenate([np.tile([0, 1], both), np.arange(both, 20) % 2])
    kinds = {name: np.full(listener.size, np.nan) for name in ("within", "between")}
    kinds[used] = np.random.default_rng(1).normal(size=listener.size)
    side = strike_variance._side(kinds["within"], kinds["between"], _weight(listener), listener, strike)
    assert np.isfinite(side.product)
