"""The level slope: what one decibel alone does to an answer."""

import numpy as np
import pandas as pd

from listening.analysis.decide import level_slope

SIX = {"a": 0.0, "b": 0.0, "c": -0.6, "d": 0.9, "e": 0.0, "f": 0.3}


def test_control_pairs_give_back_the_slope_that_made_them(panel):
    """95 % limits over 40 panels: 0.95 * 40 = 38 expected, 34 or more with chance 0.986."""
    held = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        table = panel(
            rng, SIX, repeats=0, n_listeners=24, slope_logit_per_db=0.3, lapse=0.0, control_repeats=4
        )
        slope = level_slope.from_answers(table, "brightness")
        held += slope.lower <= 0.3 * np.exp(0.02) <= slope.upper  # mean of the listeners' lognormal slopes
    assert held >= 34


def test_there_is_no_slope_without_control_pairs_or_a_second_presentation(panel):
    table = panel(np.random.default_rng(0), SIX, control_gains_db=())
    assert level_slope.from_answers(table, "brightness") is None


def test_everybody_following_level_every_time_gives_a_finite_slope(panel):
    table = panel(np.random.default_rng(0), SIX, slope_logit_per_db=50.0, lapse=0.0, order=0.0)
    slope = level_slope.from_answers(table, "brightness")
    assert np.isfinite([slope.lower, slope.upper]).all()
    assert slope.lower > 0


def test_two_presentations_give_a_slope_where_control_pairs_are_missing(panel):
    level_db = {"a": 0.0, "b": 6.0, "c": 1.0, "d": 5.0, "e": 3.0, "f": 2.0}
    truth = {"slope_logit_per_db": 0.3, "sd_stimulus": 0.0, "sd_listener": 0.0, "lapse": 0.0}
    options = truth | {"control_gains_db": ()}
    matched = panel(np.random.default_rng(1), SIX, **options)
    loud = panel(np.random.default_rng(2), SIX, level_db=level_db, presentation="as recorded", **options)
    table = pd.concat([matched, loud], ignore_index=True)
    slope = level_slope.from_answers(table, "brightness")
    assert slope.source == "both presentations"
    assert slope.lower < 0.3 < slope.upper


def test_one_slope_at_every_size_is_seldom_called_bent(panel):
    """40 panels at 5 %: more than 6 have a chance of 0.3 % (binomial)."""
    bent = 0
    for seed in range(40):
        rng = np.random.default_rng(100 + seed)
        table = panel(rng, SIX, repeats=0, slope_logit_per_db=0.2, lapse=0.0, control_repeats=4)
        bent += level_slope.from_answers(table, "brightness").linearity_p < 0.05
    assert bent <= 6


def test_a_level_effect_that_saturates_is_called_bent(panel):
    """A decibel moves 1.2 logit at 1 dB and 0.2 at 6 dB."""
    small, large = (
        panel(
            np.random.default_rng(seed),
            SIX,
            repeats=0,
            slope_logit_per_db=slope,
            lapse=0.0,
            control_gains_db=(gain,),
            control_repeats=8,
        )
        for seed, slope, gain in ((1, 1.2, 1.0), (2, 0.2, 6.0))
    )
    slope = level_slope.from_answers(pd.concat([small, large], ignore_index=True), "brightness")
    assert slope.bend < 0
    assert slope.linearity_p < 0.01


def test_one_size_of_difference_says_nothing_of_a_bend(panel):
    table = panel(np.random.default_rng(0), SIX, slope_logit_per_db=0.3, control_gains_db=(3.0,))
    slope = level_slope.from_answers(table, "brightness")
    assert (slope.bend, slope.linearity_p) == (None, None)
