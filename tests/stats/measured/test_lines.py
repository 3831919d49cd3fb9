"""Lines through conditions: errors on both axes, scatter, points left out, new points."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from statsmodels.stats.meta_analysis import combine_effects

from stats import t_interval
from stats.errors import BadData, NotIdentified
from stats.fixed import likelihood_ratio
from stats.measured import cross_validation, errors_in_both, meta_regression

PUBLISHED = Path(__file__).parents[2] / "published"
VALUES = tomllib.loads((PUBLISHED / "heard_measured.toml").read_text())
YORK, BCG = VALUES["york"], VALUES["bcg"]


def york(scatter: bool = False, **changed: np.ndarray) -> errors_in_both.Slopes:
    given = {name: np.array(YORK[name]) for name in ("x", "y", "x_weight", "y_weight")} | changed
    return errors_in_both.fit(
        given["x"][:, None],
        given["y"],
        x_se=given["x_weight"][:, None] ** -0.5,
        y_covariance=np.diag(1 / given["y_weight"]),
        scatter=scatter,
    )


def test_errors_on_both_axes_give_the_published_line():
    found = york()
    assert found.estimate[0] == pytest.approx(YORK["slope"], abs=5e-5)  # printed to 4 places
    assert found.se[0] == pytest.approx(YORK["slope_se"], abs=5e-5)
    assert found.misfit == pytest.approx(YORK["sum_of_squares"], abs=5e-5)


def test_turning_the_axes_turns_the_slope():
    turned = york(
        x=np.array(YORK["y"]),
        y=np.array(YORK["x"]),
        x_weight=np.array(YORK["y_weight"]),
        y_weight=np.array(YORK["x_weight"]),
    )
    assert turned.estimate[0] == pytest.approx(1 / york().estimate[0], rel=1e-8)


def test_without_errors_of_x_it_is_generalised_least_squares():
    rng = np.random.default_rng(2)
    x, y, root = rng.normal(size=(8, 2)), rng.normal(size=8), rng.normal(size=(8, 8))
    v = root @ root.T + np.eye(8)
    found = errors_in_both.fit(x, y, x_se=np.zeros((8, 2)), y_covariance=v, scatter=False)
    reference = sm.GLS(y, sm.add_constant(x), sigma=v).fit(scale=1.0)
    assert found.estimate == pytest.approx(reference.params[1:], rel=1e-9)
    assert found.se == pytest.approx(np.sqrt(np.diag(reference.normalized_cov_params))[1:], rel=1e-9)


def test_scatter_brings_the_sum_of_squares_to_its_expectation():
    found = york(scatter=True)
    x, y, b = np.array(YORK["x"]), np.array(YORK["y"]), found.estimate[0]
    weight = 1 / (1 / np.array(YORK["y_weight"]) + b**2 / np.array(YORK["x_weight"]) + found.scatter**2)
    rest = y - b * x
    rest = rest - (weight @ rest) / weight.sum()
    assert weight @ rest**2 == pytest.approx(found.df, abs=1e-6)


def test_scatter_about_a_mean_is_that_of_another_library():
    y, v = log_risks()
    none = np.zeros((13, 0))
    found = errors_in_both.fit(none, y, x_se=none, y_covariance=np.diag(v), scatter=True)
    theirs = combine_effects(y, v, method_re="iterated", atol=1e-9).tau2
    assert found.scatter**2 == pytest.approx(theirs, abs=1e-6)  # their iteration stops there
    assert found.misfit == pytest.approx(BCG["mean"]["heterogeneity"], abs=5e-8)


def test_errors_that_drown_the_measured_values_are_named():
    with pytest.raises(NotIdentified, match=r"differ by 0.00957 .* own errors are 5"):
        errors_in_both.fit(
            np.array([[0.0], [0.01], [0.0], [0.02]]),
            np.array([3.0, -2, 1, -4]),
            x_se=np.full((4, 1), 5.0),
            y_covariance=0.01 * np.eye(4),
            scatter=False,
        )
    with pytest.raises(BadData, match="no error at all"):
        errors_in_both.fit(
            np.arange(4.0)[:, None],
            np.ones(4),
            x_se=np.zeros((4, 1)),
            y_covariance=np.zeros((4, 4)),
            scatter=False,
        )
    with pytest.raises(BadData, match="3 points cannot bear 2 slopes"):
        errors_in_both.fit(
            np.eye(3)[:, :2], np.ones(3), x_se=np.ones((3, 2)), y_covariance=np.eye(3), scatter=False
        )


def test_slopes_with_errors_cover_the_truth_where_plain_ones_are_too_flat():
    rng = np.random.default_rng(4)
    sizes = {"both": [], "plain": []}
    held = 0
    for _ in range(120):
        truth = rng.normal(size=12)
        x, y = truth + rng.normal(0, 0.4, 12), 2 * truth + rng.normal(0, 0.3, 12)
        found = errors_in_both.fit(
            x[:, None], y, x_se=np.full((12, 1), 0.4), y_covariance=0.09 * np.eye(12), scatter=False
        )
        sizes["both"].append(found.estimate[0])
        sizes["plain"].append(np.polyfit(x, y, 1)[0])
        low, high = t_interval.of(found.estimate[0], found.se[0], np.inf, 0.95)
        held += low <= 2 <= high
    assert np.median(sizes["plain"]) < 1.8 < np.median(sizes["both"]) < 2.2
    assert held / 120 >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / 120)


def log_risks() -> tuple[np.ndarray, np.ndarray]:
    a, b, c, d = np.array(BCG["counts"], dtype=float)[:, :4].T
    return np.log(a / (a + b) / (c / (c + d))), 1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)


@pytest.mark.parametrize("which", ["mean", "latitude"])
def test_estimates_with_scatter_are_fitted_as_published(which):
    y, v = log_risks()
    columns = np.ones((13, 1))
    if which == "latitude":
        columns = np.column_stack([columns, np.array(BCG["counts"], dtype=float)[:, 4]])
    found, wanted = meta_regression.fit(y, columns, np.diag(v)), BCG[which]
    assert found.coefficients == pytest.approx(wanted["coefficients"], abs=5e-7)  # the optimiser's reach
    assert found.scatter**2 == pytest.approx(wanted["scatter_squared"], abs=5e-7)
    assert found.loglik == pytest.approx(wanted["loglik"], abs=5e-9)
    assert found.heterogeneity == pytest.approx(wanted["heterogeneity"], abs=5e-8)


def test_the_restricted_scatter_is_the_published_one():
    y, v = log_risks()
    found = meta_regression.fit(y, np.ones((13, 1)), np.diag(v), restricted=True)
    wanted = BCG["mean"]["restricted_scatter_squared"]
    assert found.scatter**2 == pytest.approx(wanted, abs=5e-5)  # printed to 4 places


def test_a_value_that_does_not_scatter_keeps_its_weight():
    """A slope known from elsewhere, next to scattered points: the sure value decides."""
    y = np.array([1.0, 5.0, -3.0, 4.0, -6.0])
    x = np.array([[1.0], [2.0], [-1.0], [0.0], [1.0]])
    found = meta_regression.fit(
        y, x, np.diag([1e-4, 0.1, 0.1, 0.1, 0.1]), scatters=np.array([False, True, True, True, True])
    )
    assert found.coefficients[0] == pytest.approx(1.0, abs=0.01)
    assert found.scatter > 2


def test_errors_of_estimates_with_scatter_are_named():
    with pytest.raises(BadData, match="3 estimates cannot bear 3"):
        meta_regression.fit(np.ones(3), np.eye(3), np.eye(3))
    with pytest.raises(NotIdentified, match="leave one out"):
        meta_regression.fit(np.ones(4), np.ones((4, 2)), np.eye(4))
    with pytest.raises(BadData, match="not positive definite"):
        meta_regression.fit(np.ones(3), np.ones((3, 1)), np.zeros((3, 3)))


def swiss() -> tuple[np.ndarray, np.ndarray]:
    data = pd.read_csv(PUBLISHED / "swiss.csv", index_col=0)
    return data[["Education", "Catholic"]].to_numpy(float), data["Fertility"].to_numpy(float)


def test_errors_left_out_are_those_of_refits_and_of_other_software():
    x, y = swiss()
    found = cross_validation.errors(x, y)
    assert np.sqrt((found**2).mean()) == pytest.approx(VALUES["swiss"]["fit"]["left_out_error"], abs=5e-9)
    theirs = sm.OLS(y, sm.add_constant(x)).fit().get_influence().resid_press
    assert found == pytest.approx(theirs, rel=1e-10)
    keep = np.arange(y.size) != 5
    one = sm.OLS(y[keep], sm.add_constant(x[keep])).fit()
    assert found[5] == pytest.approx(y[5] - one.predict([[1, *x[5]]])[0], rel=1e-10)


def test_a_new_point_has_the_interval_of_another_library():
    x, y = swiss()
    found = cross_validation.predict(x, y, np.array([10.0, 50.0]))
    theirs = sm.OLS(y, sm.add_constant(x)).fit().get_prediction([[1, 10, 50]]).summary_frame(alpha=0.05)
    limits = t_interval.of(found.estimate, found.se, found.df, 0.95)
    assert limits == pytest.approx(theirs[["obs_ci_lower", "obs_ci_upper"]].to_numpy()[0], rel=1e-9)
    assert found.weights @ y == pytest.approx(found.estimate, rel=1e-12)


def test_models_compared_by_hand():
    """Squares 4, 4, 1 against 1, 0, 1: gaps 3, 4, 0; mean 7/3, variance 13/3, times 1/3 + 1/2."""
    found = cross_validation.compare(np.array([2.0, -2, 1]), np.array([1.0, 0, -1]))
    reach = 4.302652729911275 * np.sqrt(
        13 / 3 * (1 / 3 + 1 / 2)
    )  # t quantile at 2 degrees of freedom, tables
    assert (found.estimate, found.lower, found.upper) == pytest.approx((7 / 3, 7 / 3 - reach, 7 / 3 + reach))


def test_what_cannot_be_left_out_or_predicted_is_named():
    with pytest.raises(NotIdentified, match="left out"):
        cross_validation.errors(np.array([[0.0], [0], [0], [1]]), np.arange(4.0))
    with pytest.raises(BadData, match="3 errors; wanted"):
        cross_validation.compare(np.ones(2), np.ones(3))
    with pytest.raises(BadData, match="wanted 4 points or more"):
        cross_validation.predict(np.ones((3, 2)), np.ones(3), np.ones(2))


def test_the_likelihood_ratio_read_as_f_is_the_f_test_of_a_regression():
    x, y = swiss()
    larger, smaller = sm.OLS(y, sm.add_constant(x)).fit(), sm.OLS(y, sm.add_constant(x[:, :1])).fit()
    found = likelihood_ratio.few_units(smaller.llf, larger.llf, df=1, n_units=47, n_effects=3)
    assert found.p == pytest.approx(larger.compare_f_test(smaller)[1], rel=1e-8)
    many = likelihood_ratio.many_units(smaller.llf, larger.llf, df=1)
    assert many.p == pytest.approx(larger.compare_lr_test(smaller)[1], rel=1e-10)


def test_nested_models_without_a_unit_to_spare_are_refused():
    with pytest.raises(BadData, match="wanted at least one more"):
        likelihood_ratio.few_units(-5.0, -3.0, df=1, n_units=3, n_effects=3)
    with pytest.raises(BadData, match="0 effects more"):
        likelihood_ratio.many_units(-5.0, -3.0, df=0)
