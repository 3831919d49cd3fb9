"""The deciding model: what of its variance comes from listeners, and what from strikes."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from listening.analysis.decide import beside, contrast
from stats import t_interval

FOUR = {"a": 0.0, "b": 0.0, "c": -0.5, "d": 0.5}


def test_degrees_of_freedom_of_two_variances_together():
    """By hand: (1 + 1)^2 / (1 / 23 + 1 / 4) = 13.63; stimuli that add nothing leave the listeners' own."""
    assert t_interval.together(1.0, 23.0, 1.0, 4.0) == pytest.approx(4 / (1 / 23 + 1 / 4))
    assert t_interval.together(1.0, 23.0, 0.0, 0.0) == 23.0
    assert t_interval.together(1.0, 11.0, 0.9, 12.0) == 11.0


@pytest.fixture(scope="module")
def uneven(panel):
    """Strikes of a and b differ; those of c and d are all alike."""
    table = panel(np.random.default_rng(4), FOUR, sd_stimulus={"a": 1.0, "b": 1.0}, control_gains_db=())
    return contrast.fit(contrast.design(table, more="b", than="a"))


def test_strikes_of_the_compared_two_have_a_spread_of_their_own(uneven):
    spread = uneven.model.spread
    assert spread[contrast.STIMULUS] > 3 * spread[contrast.OTHER_STIMULUS]
    assert uneven.spread_stimuli == spread[contrast.STIMULUS]
    assert uneven.design.df_stimuli == 4
    assert uneven.design.df_other_stimuli == 4


def test_few_strikes_leave_few_degrees_of_freedom(uneven):
    from_stimuli = uneven.spread_stimuli**2 * 2 / 3
    assert uneven.se**2 > from_stimuli
    assert 4 < uneven.df < 23
    assert uneven.df == pytest.approx(t_interval.together(uneven.se**2 - from_stimuli, 23, from_stimuli, 4))


def test_strikes_of_the_compared_two_borrow_the_spread_of_all_where_their_own_is_smaller(panel):
    table = panel(np.random.default_rng(4), FOUR, sd_stimulus={"c": 1.0, "d": 1.0}, control_gains_db=())
    fit = contrast.fit(contrast.design(table, more="b", than="a"))
    own, others = (fit.model.spread[name] for name in (contrast.STIMULUS, contrast.OTHER_STIMULUS))
    assert own < others
    fitted = float(fit.model.se[fit.design.names.index(contrast.CONTRAST)])
    borrowed = (own**2 + others**2) / 2  # four strikes beyond one a condition in each half
    assert fit.se == pytest.approx(math.sqrt(fitted**2 + (borrowed - own**2) * 2 / 3))


def test_one_strike_a_condition_leaves_the_listeners_alone(panel):
    table = panel(np.random.default_rng(4), FOUR, strikes=1, control_gains_db=())
    fit = contrast.fit(contrast.design(table, more="b", than="a"))
    assert set(fit.model.spread) == {contrast.LISTENER, contrast.CELL}
    assert fit.df == 23


def test_the_spread_over_pairs_holds_one_strike_of_either_sound():
    """By hand: listeners 3, strikes the square root of 8 each: the root of 9 + 2 * 8."""
    fit = SimpleNamespace(spread_listeners=3.0, spread_stimuli=math.sqrt(8.0))
    assert beside.spread(fit) == pytest.approx(5.0)


def test_a_listener_s_own_effect_holds_the_cells_of_both_sounds():
    """Two listeners of three conditions; the last cell of the second was never met."""
    effects = {
        contrast.LISTENER: np.array([[0.5], [-0.5]]),
        contrast.CELL: np.array([[0.1], [0.2], [0.7], [0.4], [-0.3]]),
    }
    made = SimpleNamespace(listeners=("L1", "L2"), n_conditions=3)
    own = contrast._own(SimpleNamespace(effects=effects), made)
    assert own == pytest.approx([0.5 + 0.1 - 0.2, -0.5 + 0.4 + 0.3])


def test_a_listener_s_variance_counts_the_cells_of_both_sounds(panel):
    table = panel(np.random.default_rng(4), FOUR, sd_listener=1.5, control_gains_db=())
    fit = contrast.fit(contrast.design(table, more="b", than="a"))
    listener, cell = (fit.model.spread[name] for name in (contrast.LISTENER, contrast.CELL))
    assert cell > 0
    assert fit.spread_listeners == pytest.approx(math.sqrt(listener**2 + 2 * cell**2))


def test_with_two_conditions_a_listener_s_variance_is_that_of_the_slope(panel):
    table = panel(np.random.default_rng(4), {"a": 0.0, "b": 0.5}, sd_listener=1.0, control_gains_db=())
    fit = contrast.fit(contrast.design(table, more="b", than="a"))
    assert contrast.CELL not in fit.model.spread
    assert fit.spread_listeners == pytest.approx(fit.model.spread[contrast.LISTENER])


@pytest.fixture(scope="module")
def at_three_sites(panel):
    table = panel(np.random.default_rng(4), {"a": 0.0, "b": 0.5}, sd_listener=1.0, control_gains_db=())
    number = table["listener"].str.removeprefix("L").astype(int)
    return table.assign(site=np.array(["N", "S", "W"])[number % 3])


def test_what_sets_the_sites_apart_sums_to_zero_over_them(at_three_sites):
    """Each column is the contrast at its own site, less it at the last, and nothing at any other."""
    made = contrast.design(at_three_sites, more="b", than="a")
    site = at_three_sites["site"].to_numpy()
    for own in "NS":
        column = made.fixed[:, made.names.index(f"contrast at site {own}")]
        assert column == pytest.approx(np.select([site == own, site == "W"], [made.contrast, -made.contrast]))


def test_the_listeners_variance_holds_how_far_the_sites_lie_apart(at_three_sites):
    fit = contrast.fit(contrast.design(at_three_sites, more="b", than="a"))
    first = fit.model.estimate[-2:]
    sites = np.append(first, -first.sum())
    assert np.mean(sites**2) > 1e-4
    own = fit.model.spread[contrast.LISTENER] ** 2
    assert fit.spread_listeners**2 == pytest.approx(own + np.mean(sites**2))
