"""Category ratings: published fits, derivatives, exact cases, invariances, what cannot be fitted."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import special
from scipy.stats import chi2

from stats.errors import BadData, NotIdentified, Separated
from stats.fixed import newton
from stats.fixed.binary import Binary
from stats.mixed.engine.random_terms import term
from stats.ordinal import cumulative_link, cumulative_link_mixed
from stats.ordinal.cumulative import Cumulative
from tests.stats import richardson

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "ordinal.toml").read_text())
# both fits stop at a squared Newton decrement of 1e-16 (1 + |log-likelihood|): within 2e-8 at standard
# errors of 0.1
STOPPED = 2e-8


def wine():
    table = pd.read_csv(PUBLISHED / "wine.csv")
    x = np.column_stack([table.temp == "warm", table.contact == "yes"]).astype(float)
    return table.rating.to_numpy() - 1, x, table.judge.to_numpy() - 1


def simulated(n=600, seed=2, categories=5):
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(n, 2))
    heard = x @ [0.8, -0.5] + rng.logistic(size=n)
    return np.digitize(heard, np.linspace(-1.5, 1.5, categories - 1)), x


@pytest.mark.parametrize("key", ["wine_clm_logit", "wine_clm_interaction"])
def test_wine_agrees_with_the_reference_fit(key):
    answers, x, _ = wine()
    columns = x if key == "wine_clm_logit" else np.column_stack([x, x[:, 0] * x[:, 1]])
    found, expected = cumulative_link.fit(answers, columns), REFERENCE[key]
    np.testing.assert_allclose(found.estimate, list(expected["effects"].values()), atol=1e-6)
    np.testing.assert_allclose(found.thresholds, list(expected["thresholds"].values()), atol=1e-6)
    se = list(expected["se"].values())
    np.testing.assert_allclose([*found.threshold_se, *found.se], se, rtol=1e-6)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)


@pytest.mark.parametrize(
    ("key", "options"),
    [
        ("wine_probit", {"link": "probit"}),
        ("wine_cloglog", {"link": "cloglog"}),
        ("wine_symmetric", {"spacing": "symmetric"}),
        ("wine_equidistant", {"spacing": "equidistant"}),
    ],
)
def test_links_and_spacings_agree_with_the_reference_fit(key, options):
    answers, x, _ = wine()
    found, expected = cumulative_link.fit(answers, x, **options), REFERENCE[key]
    np.testing.assert_allclose(found.estimate, expected["effects"], atol=1e-6)
    np.testing.assert_allclose(found.thresholds, expected["thresholds"], atol=1e-6)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    if "se" in expected:
        np.testing.assert_allclose([*found.se, *found.threshold_se], expected["se"], rtol=1e-6)


def test_nested_spreads_agree_with_the_reference_fit():
    answers, x, judge = wine()
    terms = [term("judge", judge), term("judge by temp", 2 * judge + x[:, 0].astype(int))]
    found, expected = cumulative_link_mixed.fit(answers, x, terms), REFERENCE["wine_nested"]
    np.testing.assert_allclose(found.estimate, expected["effects"], atol=1e-5)
    np.testing.assert_allclose(found.thresholds, expected["thresholds"], atol=1e-5)
    np.testing.assert_allclose([*found.se, *found.threshold_se], expected["se"], rtol=1e-4)
    np.testing.assert_allclose(list(found.spread.values()), expected["spread"], atol=1e-5)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)


@pytest.mark.parametrize(("column", "name"), [(0, "temp"), (1, "contact")])
def test_leaving_an_effect_out_costs_what_the_reference_says(column, name):
    answers, x, _ = wine()
    expected = REFERENCE["wine_clm_logit"]["drop_one"][name]
    fall = 2 * (
        cumulative_link.fit(answers, x).loglik - cumulative_link.fit(answers, x[:, [1 - column]]).loglik
    )
    assert fall == pytest.approx(expected["LR"], abs=1e-6)
    assert chi2.sf(fall, 1) == pytest.approx(expected["p"], rel=1e-5)


def test_mixed_model_of_wine_is_at_the_tight_laplace_optimum():
    answers, x, judge = wine()
    found, expected = (
        cumulative_link_mixed.fit(answers, x, [term("judge", judge)]),
        REFERENCE["wine_laplace_tight"],
    )
    np.testing.assert_allclose(found.estimate, expected["effects"], atol=1e-6)
    np.testing.assert_allclose(found.thresholds, expected["thresholds"], atol=1e-6)
    assert found.spread["judge"] == pytest.approx(expected["spread"], abs=1e-6)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-8)


def test_mixed_model_of_wine_agrees_with_the_reference_program():
    answers, x, judge = wine()
    found, expected = (
        cumulative_link_mixed.fit(answers, x, [term("judge", judge)]),
        REFERENCE["wine_clmm_judge_nAGQ1"],
    )
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-5)
    # its own estimates are up to 1.6e-5 off the Laplace optimum: see the head of ordinal.toml
    np.testing.assert_allclose(found.estimate, list(expected["effects"].values()), atol=2e-5)
    np.testing.assert_allclose(found.thresholds, list(expected["thresholds"].values()), atol=2e-5)
    np.testing.assert_allclose(
        [*found.threshold_se, *found.se], list(expected["se"].values())[:-1], rtol=1e-4
    )
    assert found.spread["judge"] == pytest.approx(expected["spread"], abs=2e-5)


def test_ten_nodes_agree_with_the_reference_program():
    answers, x, judge = wine()
    found = cumulative_link_mixed.fit(answers, x, [term("judge", judge)], nodes=10)
    expected = REFERENCE["wine_clmm_judge_nAGQ10"]
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-5)
    np.testing.assert_allclose(found.estimate, list(expected["effects"].values()), atol=1e-5)
    np.testing.assert_allclose(found.thresholds, list(expected["thresholds"].values()), atol=1e-5)
    assert found.spread["judge"] == pytest.approx(expected["spread"], abs=1e-5)
    np.testing.assert_allclose(
        [*found.threshold_se, *found.se], list(expected["se"].values())[:-1], rtol=1e-4
    )


@pytest.mark.parametrize("spacing", ["flexible", "symmetric", "mirrored", "equidistant"])
@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
@pytest.mark.parametrize("nominal", [False, True], ids=["plain", "nominal"])
def test_derivatives_agree_with_extrapolated_differences(link, spacing, nominal):
    answers, x, _ = wine()
    made = Cumulative.of(answers, link=link, spacing=spacing, nominal=x[:, :1] if nominal else None)
    rng = np.random.default_rng(3)
    shape = made.start_shape()
    shape = shape + rng.normal(0, 0.01, shape.size)
    eta = rng.normal(0, 0.5, 72)
    here, more = made.rows(eta, shape, third=True), made.shape_rows(eta, shape)

    def by_predictor(h):
        rows = made.rows(eta + h, shape, third=True)
        return np.stack([made.values(eta + h, shape), rows.d1, rows.d2])

    richardson.slope(by_predictor).check(np.stack([here.d1, here.d2, here.d3]))
    for j, unit in enumerate(np.eye(shape.size)):

        def by_shape(h, unit=unit):
            at = shape + h * unit
            rows = made.rows(eta, at, third=True)
            return np.vstack([made.values(eta, at), rows.d1, rows.d2, made.shape_rows(eta, at).by_shape.T])

        found = [more.by_shape[:, j], more.d1_by_shape[:, j], more.d2_by_shape[:, j], more.second[:, :, j].T]
        richardson.slope(by_shape).check(np.vstack(found))


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
def test_far_predictors_keep_their_digits(link):
    made = Cumulative.of([0, 1, 2], link=link)
    for eta in (-30.0, 30.0 if link != "cloglog" else 5.0):
        values = made.values(np.full(3, eta), np.array([-0.5, 0.5]))
        assert np.isfinite(values).all()
        assert np.isfinite(made.rows(np.full(3, eta), np.array([-0.5, 0.5]), third=True).d3).all()


def test_chances_of_the_categories_sum_to_one_and_match_the_density():
    made = Cumulative.of([0, 1, 2, 3], link="probit")
    eta, shape = np.array([0.3, -0.2, 1.0, 2.0]), np.array([-1.0, 0.2, 1.1])
    chances = made.probabilities(eta, shape)
    np.testing.assert_allclose(chances.sum(axis=1), 1, atol=1e-15)
    np.testing.assert_allclose(np.log(chances[range(4), range(4)]), made.values(eta, shape), atol=1e-12)


def test_thresholds_without_effects_are_the_quantiles_of_the_observed_shares():
    answers = np.repeat([0, 1, 2], [10, 30, 60])
    found = cumulative_link.fit(answers, np.zeros((100, 0)))
    np.testing.assert_allclose(found.thresholds, special.logit([0.1, 0.4]), atol=1e-9)
    # by hand: the variance of a logit share is 1 / (n p (1 - p))
    np.testing.assert_allclose(found.threshold_se, 1 / np.sqrt(100 * np.array([0.09, 0.24])), rtol=1e-8)


def test_two_categories_are_the_logistic_regression():
    answers, x = simulated(categories=2)
    found = cumulative_link.fit(answers, x)
    plain = newton.maximise(Binary.of(answers, 1 - answers), np.column_stack([np.ones(x.shape[0]), x]))
    np.testing.assert_allclose(found.estimate, plain.beta[1:], atol=STOPPED)
    assert found.thresholds[0] == pytest.approx(-plain.beta[0], abs=STOPPED)
    assert found.loglik == pytest.approx(plain.loglik, abs=1e-9)


def test_reversing_the_scale_turns_the_effects():
    answers, x = simulated()
    plain, turned = cumulative_link.fit(answers, x), cumulative_link.fit(4 - answers, x)
    np.testing.assert_allclose(turned.estimate, -plain.estimate, atol=1e-8)
    np.testing.assert_allclose(turned.thresholds, -plain.thresholds[::-1], atol=1e-8)


def test_weights_count_answers():
    answers, x, _ = wine()
    doubled = cumulative_link.fit(np.tile(answers, 2), np.tile(x, (2, 1)))
    weighted = cumulative_link.fit(answers, x, weight=np.full(72, 2.0))
    np.testing.assert_allclose(weighted.estimate, doubled.estimate, atol=1e-9)
    np.testing.assert_allclose(weighted.se, cumulative_link.fit(answers, x).se / np.sqrt(2), rtol=1e-8)


def test_a_shifted_covariate_shifts_the_thresholds_alone():
    answers, x = simulated()
    plain, moved = cumulative_link.fit(answers, x), cumulative_link.fit(answers, x + np.array([3.0, 0.0]))
    np.testing.assert_allclose(moved.estimate, plain.estimate, atol=1e-8)
    np.testing.assert_allclose(moved.thresholds, plain.thresholds + 3 * plain.estimate[0], atol=1e-7)


@pytest.mark.parametrize(
    ("spacing", "check"),
    [
        ("symmetric", lambda t: np.ptp(t + t[::-1])),
        ("mirrored", lambda t: np.abs(t + t[::-1]).max()),
        ("equidistant", lambda t: np.ptp(np.diff(t))),
    ],
)
def test_spacing_holds_the_thresholds_and_never_fits_better(spacing, check):
    answers, x = simulated()
    free, held = cumulative_link.fit(answers, x), cumulative_link.fit(answers, x, spacing=spacing)
    assert check(held.thresholds) == pytest.approx(0, abs=1e-9)
    assert held.loglik <= free.loglik + 1e-9
    assert held.n_parameters < free.n_parameters


def test_mirrored_answers_to_swapped_pairs_give_the_turned_effect():
    answers, x = simulated(categories=7)
    plain = cumulative_link.fit(answers, x, spacing="mirrored")
    swapped = cumulative_link.fit(6 - answers, -x, spacing="mirrored")
    np.testing.assert_allclose(swapped.estimate, plain.estimate, atol=1e-9)


def test_proportional_check_is_quiet_where_effects_are_and_loud_where_they_are_not():
    answers, x = simulated(n=4000)
    assert all(
        check.p > 0.001 for check in cumulative_link.proportional_check(cumulative_link.fit(answers, x))
    )
    rng = np.random.default_rng(7)
    spread = np.digitize(rng.logistic(size=4000) * np.where(x[:, 0] > 0, 2.0, 1.0), [-1.5, -0.5, 0.5, 1.5])
    loud = cumulative_link.proportional_check(cumulative_link.fit(spread, (x[:, [0]] > 0).astype(float)))
    assert loud[0].df == 3
    assert loud[0].p < 1e-6


def test_proportional_check_approaches_the_likelihood_ratio_test():
    answers, x = simulated(n=20000)
    plain = cumulative_link.fit(answers, x)
    wide = newton.maximise(Cumulative.of(answers, nominal=x[:, :1]), x[:, 1:])
    ratio = 2 * (wide.loglik - plain.loglik)
    found = cumulative_link.proportional_check(plain)[0].statistic
    assert found == pytest.approx(ratio, abs=0.1)  # both are of order 1; they differ by 1 / sqrt(n)


def test_random_stimuli_that_differ_by_nothing_get_no_spread():
    answers, x, judge = wine()
    bottle = np.tile(np.arange(8), 9)
    found = cumulative_link_mixed.fit(answers, x, [term("judge", judge), term("bottle", bottle)])
    assert found.spread["bottle"] == pytest.approx(0, abs=1e-3)
    assert found.singular


def test_a_panel_with_known_truth_comes_back():
    rng = np.random.default_rng(11)
    listener, stimulus = np.repeat(np.arange(60), 40), np.tile(np.arange(20), 120)
    x = (stimulus % 2).astype(float)[:, None]
    heard = 0.7 * x[:, 0] + rng.normal(0, 0.9, 60)[listener] + rng.normal(0, 0.5, 20)[stimulus]
    answers = np.digitize(heard + rng.logistic(size=2400), [-1.0, 0.0, 1.2])
    found = cumulative_link_mixed.fit(answers, x, [term("listener", listener), term("stimulus", stimulus)])
    assert abs(found.estimate[0] - 0.7) < 4 * found.se[0]
    # four standard errors of a standard deviation of k levels, 4 / sqrt(2 k), and a little for the answers
    assert found.spread["listener"] == pytest.approx(0.9, rel=4 / np.sqrt(110))
    assert found.spread["stimulus"] == pytest.approx(0.5, rel=4 / np.sqrt(32))
    np.testing.assert_allclose(found.thresholds, [-1.0, 0.0, 1.2], atol=4 * found.threshold_se.max())


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"answers": np.zeros(72)}, BadData, "at least 2"),
        ({"answers": np.full(72, 0.5)}, BadData, "whole numbers"),
        ({"answers": np.repeat([0, 2], 36)}, BadData, "categories 1"),
        ({"x": np.ones((71, 2))}, BadData, "72 answers"),
        ({"x": np.ones((72, 1))}, NotIdentified, "one is constant"),
        ({"link": "cauchit"}, BadData, "wanted one of logit, probit, cloglog"),
        ({"spacing": "odd"}, BadData, "wanted one of flexible"),
        ({"names": ["a", "a"]}, BadData, "different names"),
        ({"weight": [-1.0] * 72}, BadData, "none negative"),
    ],
    ids=["one", "half", "unused", "rows", "constant", "link", "spacing", "names", "weight"],
)
def test_what_cannot_be_fitted_is_named(change, error, message):
    answers, x, _ = wine()
    given = {"answers": answers, "x": x} | change
    with pytest.raises(error, match=message):
        cumulative_link.fit(**given)


def test_a_column_that_predicts_the_categories_is_named():
    answers, x, _ = wine()
    perfect = np.column_stack([answers > 2, x[:, 1]]).astype(float)
    with pytest.raises(Separated, match="predicts the categories perfectly"):
        cumulative_link.fit(answers, perfect, names=["loud", "contact"])
