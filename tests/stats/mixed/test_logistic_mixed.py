"""Mixed model of binary answers: published fits, boundaries, separation, limits."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData, Separated
from stats.mixed import logistic_mixed, mixed_profile
from stats.mixed.engine import random_terms

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "logistic_mixed.toml").read_text())
SLOPES = ["d_level", "d_bright", "d_decay"]


def panel():
    table = pd.read_csv(PUBLISHED / "panel_small.csv")
    x = np.column_stack([np.ones(len(table)), table[SLOPES]])
    return table.y.to_numpy(float), x, pd.factorize(table.listener)[0]


def cbpp():
    table = pd.read_csv(PUBLISHED / "cbpp.csv")
    x = np.column_stack([np.ones(len(table))] + [table.period == k for k in (2, 3, 4)]).astype(float)
    return table.incidence.to_numpy(float), table["size"].to_numpy(float), x, table.herd.to_numpy() - 1


def unanimous(listeners=24, trials=10):
    """Every listener chooses the same condition on every trial."""
    rng = np.random.default_rng(1)
    listener = np.repeat(np.arange(listeners), trials)
    contrast = np.where(np.arange(listener.size) % 2 == 0, 1.0, -1.0)
    strike = rng.integers(0, 3, (2, listener.size))
    first = np.where(contrast > 0, strike[0], 3 + strike[0])
    second = np.where(contrast > 0, 3 + strike[1], strike[1])
    terms = [
        random_terms.term("listener", listener, contrast),
        random_terms.pair_term("stimulus", first, second),
    ]
    return (contrast > 0).astype(float), np.column_stack([np.ones(listener.size), contrast]), terms


@pytest.mark.parametrize(
    ("correlated", "key"), [(False, "panel_uncorrelated"), (True, "panel_correlated")], ids=str
)
def test_listener_slopes_agree_with_the_reference_fit(correlated, key):
    answers, x, listener = panel()
    slopes = random_terms.term("listener", listener, x[:, 1:], column_names=SLOPES, correlated=correlated)
    found = logistic_mixed.fit(answers, x, [slopes], names=["order", *SLOPES])
    expected = REFERENCE[key]
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-5)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-4)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-5)
    np.testing.assert_allclose(np.square(list(found.spread.values())), expected["variance"], atol=1e-5)
    if correlated:
        sd = np.array(list(found.spread.values()))
        covariance = found.correlation["listener"] * np.outer(sd, sd)
        np.testing.assert_allclose(covariance[[0, 0, 1], [1, 2, 2]], expected["covariance"], atol=1e-5)
    assert not found.singular


def test_spread_on_its_boundary_is_zero_and_said_so():
    answers, x, listener = panel()
    found = logistic_mixed.fit(answers, x, [random_terms.term("listener", listener)])
    expected = REFERENCE["panel_singular"]
    assert found.singular
    assert found.spread["listener"] == 0.0
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-5)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-4)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-5)


def test_herds_agree_with_the_reference_fit():
    won, trials, x, herd = cbpp()
    found = logistic_mixed.fit(won, x, [random_terms.term("herd", herd)], trials=trials)
    expected = REFERENCE["cbpp_laplace"]
    # the reference optimiser stops short: 1e-4 in the estimates, below 1e-5 in what they explain
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-4)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=3e-4)
    from scipy.special import gammaln

    constant = (gammaln(trials + 1) - gammaln(won + 1) - gammaln(trials - won + 1)).sum()
    assert found.loglik + constant == pytest.approx(expected["loglik"], abs=1e-5)
    np.testing.assert_allclose(found.effects["herd"][:, 0], expected["modes"], atol=3e-4)
    np.testing.assert_allclose(
        found.effects_se["herd"][:, 0] ** 2, expected["conditional_variance"], atol=1e-4
    )


@pytest.mark.parametrize("restricted", [False, True], ids=["ml", "restricted"])
def test_all_listeners_agreeing_gives_a_finite_estimate_and_a_lower_limit(restricted):
    answers, x, terms = unanimous()
    found = logistic_mixed.fit(answers, x, terms, restricted=restricted)
    assert found.separated
    assert found.penalised
    estimate, se = found.contrast(np.array([0.0, 1.0]))
    assert estimate - 1.714 * se > 2.0  # t, 23 degrees of freedom, one-sided 5 %
    limit = mixed_profile.bound(answers, x, terms, column=1, level=0.95, side="lower", df=23)
    # 240 answers all one way: (1 / (1 + exp(-b)))^240 = exp(-1.714^2 / 2)
    assert limit == pytest.approx(-np.log(np.expm1(1.7139**2 / 2 / 240)), abs=2e-4)


def test_separated_answers_are_refused_where_no_penalty_is_allowed():
    answers, x, terms = unanimous()
    with pytest.raises(Separated, match="x2: the answers are predicted perfectly"):
        logistic_mixed.fit(answers, x, terms, penalty="never")


def test_a_panel_split_in_two_halves_keeps_a_finite_spread():
    answers, x, terms = unanimous()
    split = np.where(np.repeat(np.arange(24), 10) < 12, answers, 1 - answers)
    found = logistic_mixed.fit(split, x, terms)
    assert found.runaway
    estimate, se = found.contrast(np.array([0.0, 1.0]))
    assert abs(estimate) < 0.1 * se
    assert np.isfinite(se)


def test_profile_limit_agrees_with_the_reference():
    won, trials, x, herd = cbpp()
    terms = [random_terms.term("herd", herd)]
    lower, upper = (
        mixed_profile.bound(won, x, terms, column=1, level=0.975, side=side, trials=trials)
        for side in ("lower", "upper")
    )
    expected = REFERENCE["cbpp_laplace"]["profile"][2]
    assert (lower, upper) == pytest.approx(tuple(expected), abs=1e-3)  # its interpolation error


def test_offset_and_shifted_covariate_move_only_the_intercept():
    answers, x, listener = panel()
    terms = [random_terms.term("listener", listener, x[:, 1:])]
    plain = logistic_mixed.fit(answers, x, terms)
    moved = logistic_mixed.fit(answers, x, terms, offset=0.5 * x[:, 1] + 0.25)
    np.testing.assert_allclose(plain.estimate - moved.estimate, [0.25, 0.5, 0, 0], atol=2e-6)
    assert moved.loglik == pytest.approx(plain.loglik, abs=1e-7)


def test_reversed_order_reverses_the_order_effect_only():
    answers, x, listener = panel()
    terms = [random_terms.term("listener", listener, x[:, 1:])]
    plain = logistic_mixed.fit(answers, x, terms)
    turned = x * [1, -1, -1, -1]
    back = logistic_mixed.fit(1 - answers, turned, [random_terms.term("listener", listener, turned[:, 1:])])
    np.testing.assert_allclose(back.estimate, plain.estimate * [-1, 1, 1, 1], atol=2e-6)
    assert back.loglik == pytest.approx(plain.loglik, abs=1e-7)


def test_renumbered_listeners_change_nothing():
    answers, x, listener = panel()
    plain = logistic_mixed.fit(answers, x, [random_terms.term("listener", listener, x[:, 1:])])
    other = np.random.default_rng(4).permutation(40)[listener]
    found = logistic_mixed.fit(answers, x, [random_terms.term("listener", other, x[:, 1:])])
    np.testing.assert_allclose(found.estimate, plain.estimate, atol=1e-7)


def test_known_truth_with_random_stimuli_is_recovered():
    rng = np.random.default_rng(7)
    listeners, stimuli, n = 60, 40, 12000
    listener = rng.integers(0, listeners, n)
    first = rng.integers(0, stimuli, n)
    second = (first + rng.integers(1, stimuli, n)) % stimuli
    level = rng.normal(size=stimuli)
    x = np.column_stack([np.ones(n), level[first] - level[second]])
    slope, quirk = 0.8 + 0.5 * rng.normal(size=listeners), 0.6 * rng.normal(size=stimuli)
    eta = 0.2 + slope[listener] * x[:, 1] + quirk[first] - quirk[second]
    answers = (rng.random(n) < 1 / (1 + np.exp(-eta))).astype(float)
    terms = [
        random_terms.term("listener", listener, x[:, 1]),
        random_terms.pair_term("stimulus", first, second),
    ]
    for restricted in (False, True):
        found = logistic_mixed.fit(answers, x, terms, restricted=restricted)
        assert np.abs((found.estimate - [0.2, 0.8]) / found.se).max() < 3.0
        assert found.spread["listener"] == pytest.approx(0.5, rel=0.35)  # 3.3 se: sd / sqrt(2 * 60)
        assert found.spread["stimulus"] == pytest.approx(0.6, rel=0.35)


def test_integrating_fixed_effects_out_widens_the_spread_of_few_stimuli():
    rng = np.random.default_rng(2)
    answers, x, terms = unanimous(12, 20)
    answers = np.where(rng.random(answers.size) < 0.3, 1 - answers, answers)
    plain = logistic_mixed.fit(answers, x, terms)
    wide = logistic_mixed.fit(answers, x, terms, restricted=True)
    assert wide.spread["stimulus"] >= plain.spread["stimulus"]
    assert wide.se[1] > plain.se[1]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"answers": np.full(240, np.nan)}, "finite"),
        ({"answers": np.full(240, 2.0)}, "more successes than trials"),
        ({"x": np.ones((239, 2))}, "240 answers"),
        ({"offset": np.full(240, np.inf)}, "offset must be finite"),
        ({"names": ["a", "a"]}, "different names"),
    ],
    ids=["nan", "two", "rows", "offset", "names"],
)
def test_bad_input_is_named(change, message):
    answers, x, terms = unanimous()
    given = {"answers": answers, "x": x} | change
    with pytest.raises(BadData, match=message):
        logistic_mixed.fit(given.pop("answers"), given.pop("x"), terms, **given)


def test_a_random_slope_on_a_column_of_zeros_is_refused():
    with pytest.raises(BadData, match="zero throughout"):
        random_terms.term("listener", np.array([0, 1]), np.zeros(2))
