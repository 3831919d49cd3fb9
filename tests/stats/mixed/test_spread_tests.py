"""Tests of standard deviations on their boundary, and draws from a fitted model."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData
from stats.fixed import newton
from stats.fixed.binary import Binary
from stats.mixed import logistic_mixed, parametric_bootstrap, spread_tests
from stats.mixed.engine import random_terms
from stats.pairs import simulated_panel

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "logistic_mixed.toml").read_text())


def test_three_slopes_and_their_correlations_agree_with_the_reference():
    table = pd.read_csv(PUBLISHED / "panel_small.csv")
    answers = table.y.to_numpy(float)
    x = np.column_stack([np.ones(len(table)), table[["d_level", "d_bright", "d_decay"]]])
    listener = pd.factorize(table.listener)[0]
    none = newton.maximise(Binary.of(answers, 1 - answers), x).loglik
    free, together = (
        logistic_mixed.fit(answers, x, [random_terms.term("l", listener, x[:, 1:], correlated=flag)]).loglik
        for flag in (False, True)
    )
    expected = REFERENCE["panel_tests"]
    slopes = spread_tests.independent(none, free, 3)
    # the reference's statistic is of fits that stop up to 1e-3 short
    assert slopes.statistic == pytest.approx(expected["slopes_lr"], abs=2e-3)
    assert slopes.p == pytest.approx(expected["slopes_p"], rel=2e-3)
    tied = spread_tests.correlations(free, together, 3)
    assert (tied.statistic, tied.p) == pytest.approx(
        (expected["correlations_lr"], expected["correlations_p"]), abs=1e-3
    )


def test_one_standard_deviation_agrees_with_the_reference():
    expected = REFERENCE["cbpp_laplace"]
    found = spread_tests.independent(0.0, expected["herd_lr"] / 2, 1)
    assert found.p == pytest.approx(expected["herd_p"], rel=1e-9)


def test_no_difference_has_a_p_value_of_one():
    assert spread_tests.independent(-10.0, -10.0, 2).p == 1.0


def test_one_more_correlated_slope_is_half_and_half():
    found = spread_tests.one_more_correlated(0.0, 2.0, 1)
    assert found.p == pytest.approx(0.5 * 0.0455002639 + 0.5 * 0.1353352832, abs=1e-9)  # chi-square 4 on 1, 2


def test_a_larger_model_that_is_worse_is_refused():
    with pytest.raises(BadData, match="below the smaller"):
        spread_tests.independent(-10.0, -11.0, 1)


def panel(effect, listeners=16):
    rng = np.random.default_rng(12)
    data = simulated_panel.draw(
        rng,
        listeners=listeners,
        trials=30,
        covariates=rng.normal(size=(6, 1)),
        order=0.1,
        mean=np.array([effect]),
        sd=np.array([0.5]),
    )
    return data, [random_terms.term("listener", data.listener, data.x[:, 1])]


def test_draws_have_the_models_moments():
    data, terms = panel(0.8)
    rng = np.random.default_rng(1)
    beta, sd, n = np.array([0.1, 0.8]), 2.0, 2000
    drawn = sum(parametric_bootstrap.draw(rng, data.x, terms, beta, np.array([sd])) for _ in range(n)) / n
    grid, weight = np.polynomial.hermite_e.hermegauss(40)
    eta = (data.x @ beta)[:, None] + sd * data.x[:, [1]] * grid
    expected = (1 / (1 + np.exp(-eta))) @ weight / np.sqrt(2 * np.pi)
    assert np.abs(drawn - expected).max() < 4.5 * 0.5 / np.sqrt(n)  # 4.5 binomial errors, 480 shares


def test_same_seed_gives_the_same_interval_around_the_estimate():
    data, terms = panel(0.8)
    first, again = (
        parametric_bootstrap.interval(data.answers, data.x, terms, column=1, seed=3, n_draws=20)
        for _ in range(2)
    )
    assert first == again
    assert first.lower < first.estimate < first.upper


def test_a_clear_effect_is_found_and_none_is_not():
    clear, terms = panel(1.5)
    assert (
        parametric_bootstrap.zero_test(clear.answers, clear.x, terms, column=1, seed=1, n_draws=19).p <= 0.05
    )
    none, terms = panel(0.0)
    assert parametric_bootstrap.zero_test(none.answers, none.x, terms, column=1, seed=1, n_draws=19).p > 0.05
