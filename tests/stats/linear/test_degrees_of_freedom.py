"""Satterthwaite and Kenward-Roger: published values, exact cases, limits; marginal means and their
differences."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats as distributions

from stats.deciding import multiplicity
from stats.errors import BadData
from stats.fixed import coding
from stats.linear import kenward_roger, linear_mixed, marginal_means, satterthwaite, variance_components
from stats.linear.linear_mixed import LinearMixed
from stats.mixed.engine.random_terms import term
from tests.stats import richardson
from tests.stats.linear.test_linear_mixed import (
    LEVELS,
    PUBLISHED,
    REFERENCE,
    codes,
    crossed,
    published,
    rating,
    sleepstudy,
)

CONTRASTS = np.eye(6)[1:]


@pytest.fixture(scope="module")
def rated() -> LinearMixed:
    answers, x, terms = rating()
    return linear_mixed.fit(answers, x, terms, names=LEVELS)


@pytest.mark.parametrize(
    ("key", "slopes", "reml"),
    [
        ("sleepstudy_corr_REML", True, True),
        ("sleepstudy_corr_ML", True, False),
        ("sleepstudy_int_REML", False, True),
    ],
)
def test_sleepstudy_degrees_of_freedom_agree_with_the_reference(key: str, slopes: bool, reml: bool) -> None:
    answers, x, terms = sleepstudy(slopes=slopes)
    model = linear_mixed.fit(answers, x, terms, reml=reml)
    found, expected = satterthwaite.t_tests(model), REFERENCE[key]
    # the reference differences its Hessian and stops 1e-7 short, which moves its df by up to 6e-6
    np.testing.assert_allclose(found.df, list(expected["satterthwaite_df"].values()), atol=1e-5)
    np.testing.assert_allclose(found.p, list(expected["satterthwaite_p"].values()), rtol=1e-4)
    if reml:
        corrected = kenward_roger.t_tests(model)
        np.testing.assert_allclose(corrected.df, list(expected["kenward_roger_df"].values()), atol=1e-5)
        np.testing.assert_allclose(corrected.se, list(expected["kenward_roger_se"].values()), rtol=1e-6)


def test_rating_degrees_of_freedom_agree_with_the_reference(rated: LinearMixed) -> None:
    expected = REFERENCE["rating"]
    # found from variances that agree to 6e-6: df to 2e-5 (their sensitivity to the variances is about 3)
    np.testing.assert_allclose(
        satterthwaite.t_tests(rated).df, list(expected["satterthwaite_df"].values()), atol=2e-5
    )
    corrected = kenward_roger.t_tests(rated)
    np.testing.assert_allclose(corrected.df, list(expected["kenward_roger_df"].values()), atol=2e-5)
    np.testing.assert_allclose(corrected.se, list(expected["kenward_roger_se"].values()), rtol=1e-6)


@pytest.mark.parametrize("name", ["sleep_gaps", "carrots", "penicillin", "pastes", "dyestuff2"])
def test_unbalanced_and_crossed_data_agree_with_the_reference(name: str) -> None:
    model, expected = linear_mixed.fit(*published(name)), REFERENCE[name]
    # the reference differences its Hessian: its own two runs of penicillin differ by 3e-6
    np.testing.assert_allclose(
        satterthwaite.t_tests(model).df, expected["satterthwaite_df"], rtol=2e-6, atol=1e-5
    )
    if "kenward_roger_df" in expected:
        corrected = kenward_roger.t_tests(model)
        np.testing.assert_allclose(corrected.df, expected["kenward_roger_df"], atol=1e-5)
        np.testing.assert_allclose(corrected.se, expected["kenward_roger_se"], rtol=1e-6)


@pytest.mark.parametrize(
    ("method", "key"),
    [(satterthwaite, "anova_satterthwaite"), (kenward_roger, "anova_kenward_roger")],
    ids=["satterthwaite", "kenward-roger"],
)
def test_joint_test_of_a_factor_agrees_with_the_reference(rated, method, key):
    found, expected = method.f_test(rated, CONTRASTS), REFERENCE["rating"][key]
    assert found.statistic == pytest.approx(expected["F"], rel=1e-6)
    assert found.df_numerator == expected["NumDF"]
    assert found.df_denominator == pytest.approx(expected["DenDF"], abs=2e-5)
    assert found.p == pytest.approx(expected["p"], rel=1e-4)


def balanced() -> LinearMixed:
    """Twelve listeners, four designs, two supports, all crossed: the designs share one variance."""
    rng = np.random.default_rng(6)
    listener, design, support = (at.ravel() for at in np.mgrid[:12, :4, :2])
    y = rng.normal(size=12)[listener] + rng.normal(0, 0.8, (12, 4))[listener, design] + rng.normal(size=96)
    x = np.column_stack([np.ones(96), *(design == d for d in (1, 2, 3)), support]).astype(float)
    terms = [term("listener", listener), term("listener:design", 4 * listener + design)]
    return linear_mixed.fit(y + 0.3 * design, x, terms)


def test_joint_test_of_a_balanced_factor_is_that_of_the_analysis_of_variance() -> None:
    """Four designs of 12 listeners: 3 and 33 degrees of freedom, F against listener x design."""
    found = satterthwaite.f_test(balanced(), np.eye(5)[1:4])
    assert (found.df_numerator, found.df_denominator) == (3, pytest.approx(33, abs=1e-4))


def group_and_support() -> tuple[LinearMixed, np.ndarray]:
    """A model, and two uncorrelated contrasts: two groups of 5 listeners (8 df), supports within (29 df)."""
    rng = np.random.default_rng(2)
    listener, support = (at.ravel() for at in np.mgrid[:10, :4])
    group, side = np.where(listener < 5, -0.5, 0.5), np.where(support % 2, 0.5, -0.5)
    y = rng.normal(0, 2, 10)[listener] + rng.normal(size=40)
    model = linear_mixed.fit(y, np.column_stack([np.ones(40), group, side]), [term("listener", listener)])
    return model, np.eye(3)[1:]


def test_joint_test_weighs_degrees_of_freedom_as_fai_and_cornelius_do() -> None:
    model, rows = group_and_support()
    first, second = satterthwaite.t_tests(model, rows).df
    assert (first, second) == (pytest.approx(8, abs=1e-4), pytest.approx(29, abs=1e-4))
    mean = 8 / (8 - 2) + 29 / (29 - 2)  # of the sum of two squares of t
    assert satterthwaite.f_test(model, rows).df_denominator == pytest.approx(2 * mean / (mean - 2), abs=1e-4)


@pytest.mark.parametrize("degrees", [0, 30, 45])
def test_contrasts_of_one_variance_may_be_turned(degrees: float) -> None:
    """The same hypothesis in other contrasts; every direction is an eigenvector of their covariance."""
    model, rows = group_and_support()
    alike = rows / satterthwaite.t_tests(model, rows).se[:, None]
    turn = np.deg2rad(degrees)
    other = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ alike
    # 1/df of a direction (c, s) is c^4/8 + s^4/29; over the circle the mean of c^4 is 3/8
    expected = 1 / (3 / 8 / 8 + 3 / 8 / 29)
    found = satterthwaite.f_test(model, other)
    assert found.df_denominator == pytest.approx(expected, rel=1e-5)
    assert found.df_denominator == pytest.approx(satterthwaite.f_test(model, alike).df_denominator, rel=1e-9)


def test_marginal_means_agree_with_the_reference(rated: LinearMixed) -> None:
    table = pd.read_csv(PUBLISHED / "rating_small.csv")
    fixed = coding.fixed_part({"system": list(table.system)}, ["system"])
    answers, _, terms = rating()
    model = linear_mixed.fit(answers, fixed.x, terms, names=fixed.names)
    found = marginal_means.means(model, fixed, "system").to_frame()
    for row in REFERENCE["rating"]["marginal_means"]:
        here = found.loc[row["level"]]
        assert here.estimate == pytest.approx(row["mean"], abs=1e-6)
        assert here.se == pytest.approx(row["se"], rel=1e-6)
        assert here.df == pytest.approx(row["df"], abs=2e-5)
        assert here.lower == pytest.approx(row["lower"], abs=1e-5)
        assert here.upper == pytest.approx(row["upper"], abs=1e-5)


def test_all_differences_of_balanced_means_are_judged_by_the_studentised_range() -> None:
    rng = np.random.default_rng(6)
    labels = np.tile(["a", "b", "c", "d"], 12)
    fixed = coding.fixed_part({"dome": list(labels)}, ["dome"])
    model = linear_mixed.fit(rng.normal(size=48), fixed.x, [term("block", np.repeat(np.arange(12), 4))])
    found = marginal_means.differences(model, fixed, "dome")
    df = float(found.tests.df.min())
    expected = distributions.studentized_range.sf(np.abs(found.tests.t) * np.sqrt(2), 4, df)
    np.testing.assert_allclose(
        found.joint.p_adjusted,
        expected,
        atol=multiplicity.CHANCE_ERROR,
    )
    assert found.names[:3] == ("a - b", "a - c", "a - d")


def test_paired_differences_have_the_degrees_of_freedom_of_the_paired_t_test() -> None:
    rng = np.random.default_rng(3)
    listener = np.repeat(np.arange(10), 2)
    second = np.tile([0.0, 1.0], 10)
    y = rng.normal(size=10)[listener] * 2 + 0.4 * second + rng.normal(size=20)
    model = linear_mixed.fit(y, np.column_stack([np.ones(20), second]), [term("listener", listener)])
    paired = distributions.ttest_rel(y[1::2], y[::2])
    for method in (satterthwaite, kenward_roger):
        found = method.t_tests(model, [0.0, 1.0])
        assert found.t[0] == pytest.approx(paired.statistic, rel=1e-6)
        assert found.df[0] == pytest.approx(9, abs=1e-5)
        assert found.p[0] == pytest.approx(paired.pvalue, rel=1e-5)


def test_separate_groups_have_the_degrees_of_freedom_of_the_group_means() -> None:
    rng = np.random.default_rng(5)
    listener = np.repeat(np.arange(12), 5)
    older = (listener >= 6).astype(float)
    y = rng.normal(size=12)[listener] * 2 + rng.normal(size=60)
    model = linear_mixed.fit(y, np.column_stack([np.ones(60), older]), [term("listener", listener)])
    means = y.reshape(12, 5).mean(axis=1)
    plain = distributions.ttest_ind(means[6:], means[:6])
    found = satterthwaite.t_tests(model, [0.0, 1.0])
    assert found.df[0] == pytest.approx(10, abs=1e-5)
    assert found.p[0] == pytest.approx(plain.pvalue, rel=1e-5)


def test_a_zero_variance_leaves_the_degrees_of_freedom_of_the_regression() -> None:
    y = np.tile([1.0, 2.0, 3.0, 4.0], 6)
    x = np.column_stack([np.ones(24), np.tile([0.0, 1.0, 0.0, 1.0], 6)])
    model = linear_mixed.fit(y, x, [term("group", np.repeat(np.arange(6), 4))])
    np.testing.assert_allclose(satterthwaite.t_tests(model).df, 22, atol=1e-6)


def test_the_plain_regression_has_its_own_degrees_of_freedom_and_says_nothing(capfd) -> None:
    y, x, _ = crossed(4)
    found = satterthwaite.t_tests(linear_mixed.fit(y, x, []))
    np.testing.assert_allclose(found.df, y.size - 2, rtol=1e-9)
    captured = capfd.readouterr()
    assert (captured.out, captured.err) == ("", "")


@pytest.mark.parametrize("reml", [True, False], ids=["reml", "ml"])
def test_information_agrees_with_the_dense_formulas(reml: bool) -> None:
    y, x, terms = crossed(1)
    model = linear_mixed.fit(y, x, terms, reml=reml)
    parts = variance_components.of(model)
    gradient, hessian, traces = variance_components.information(parts, reml=reml)
    v, derivatives = _dense(model, y.size)
    inverse = np.linalg.inv(v)
    p = inverse - inverse @ x @ model.covariance @ x.T @ inverse
    kernel = p if reml else inverse
    for i, left in enumerate(derivatives):
        expected = np.trace(kernel @ left) - y @ p @ left @ p @ y
        assert gradient[i] == pytest.approx(expected, abs=1e-7)
        for j, right in enumerate(derivatives):
            trace = np.trace(kernel @ left @ kernel @ right)
            assert traces[i, j] == pytest.approx(trace, rel=1e-8, abs=1e-8)
            bend = 2 * y @ p @ left @ p @ right @ p @ y - trace
            assert hessian[i, j] == pytest.approx(bend, rel=1e-8, abs=1e-8)


def test_factors_slopes_and_bends_are_those_of_the_covariances_they_make() -> None:
    """A term's covariance is sigma^2 L L', the residual sigma^2: differentiated by extrapolated differences.

    Away from the fit, where no slope is zero and no two entries are alike.
    """
    y, x, terms = crossed(1)
    model = replace(linear_mixed.fit(y, x, terms), theta=np.array([1.1, -0.4, 0.7, 0.9]), residual=1.3)
    gradient = np.array([0.5, -1.2, 0.8, 0.3, -0.6])
    at = np.array([*model.theta, model.residual])

    def covariances(place: np.ndarray) -> np.ndarray:
        lower = np.array([[place[0], 0.0], [place[1], place[2]]])
        listener = place[4] ** 2 * lower @ lower.T
        last = place[4] ** 2 * np.array([place[3] ** 2, 1.0])
        return np.array([listener[0, 0], listener[1, 0], listener[1, 1], *last])

    def weighed_slopes(place: np.ndarray) -> np.ndarray:
        steps = [lambda h, step=step: gradient @ covariances(place + h * step) for step in np.eye(5)]
        return np.array([float(richardson.slope(one).value) for one in steps])

    jacobian, bend = satterthwaite._factor_map(model, gradient)
    for i, step in enumerate(np.eye(5)):
        richardson.slope(lambda h, step=step: covariances(at + h * step)).check(jacobian[:, i])
        bent = richardson.slope(lambda h, step=step: weighed_slopes(at + h * step))
        bent.check(bend[i], inexact=1e-9)  # a slope of slopes that are known to some 1e-12


def _dense(model: LinearMixed, n: int) -> tuple[np.ndarray, list[np.ndarray]]:
    """V and its slopes in the three entries of the listeners' covariance, the stimuli's variance, the
    residual."""
    listener, stimulus = model.terms
    x = listener.columns
    same = listener.level == listener.level.T
    strikes = np.zeros((n, stimulus.n_levels))
    for s in range(2):
        strikes[np.arange(n), stimulus.level[:, s]] += stimulus.weight[:, s]
    slopes = [
        same * np.outer(x[:, 0], x[:, 0]),
        same * (np.outer(x[:, 0], x[:, 1]) + np.outer(x[:, 1], x[:, 0])),
        same * np.outer(x[:, 1], x[:, 1]),
        strikes @ strikes.T,
        np.eye(n),
    ]
    lower = np.array([[model.theta[0], 0.0], [model.theta[1], model.theta[2]]])
    covariance = model.residual**2 * lower @ lower.T
    values = [covariance[0, 0], covariance[1, 0], covariance[1, 1]]
    values += [model.residual**2 * model.theta[3] ** 2, model.residual**2]
    return np.sum([value * slope for value, slope in zip(values, slopes, strict=True)], axis=0), slopes


def test_kenward_roger_refuses_plain_likelihood() -> None:
    y, x, terms = crossed(1)
    with pytest.raises(BadData, match="needs a REML fit"):
        kenward_roger.t_tests(linear_mixed.fit(y, x, terms, reml=False))


@pytest.mark.parametrize(
    ("contrasts", "message"),
    [([1.0, 0.0, 0.0], "wanted finite numbers and 2"), ([0.0, 0.0], "zero everywhere")],
)
def test_contrasts_that_do_not_fit_are_refused(contrasts: list[float], message: str) -> None:
    y, x, terms = crossed(1)
    with pytest.raises(BadData, match=message):
        satterthwaite.t_tests(linear_mixed.fit(y, x, terms), contrasts)


def test_marginal_means_average_over_the_other_factor() -> None:
    rng = np.random.default_rng(8)
    dome, support = np.tile(["a", "b"], 30), np.repeat(["free", "strapped", "hung"], 20)
    level = rng.normal(size=60)
    fixed = coding.fixed_part(
        {"dome": list(dome), "support": list(support), "level_db": level}, ["dome", "support"]
    )
    model = linear_mixed.fit(
        rng.normal(size=60), fixed.x, [term("listener", np.arange(60) % 10)], names=fixed.names
    )
    found = marginal_means.means(model, fixed, "dome")
    names = list(fixed.names)
    assert names == ["intercept", "dome=b", "support=hung", "support=strapped", "level_db"]
    expected = np.array([1.0, 0.0, 1 / 3, 1 / 3, level.mean()])
    np.testing.assert_allclose(found.rows[0], expected, atol=1e-15)
    with pytest.raises(BadData, match="no factor of this fit"):
        marginal_means.means(model, fixed, "level_db")
    with pytest.raises(BadData, match="levels c are not among a, b"):
        marginal_means.differences(model, fixed, "dome", pairs=[("a", "c")])


def test_codes_are_stable_for_numbers_written_as_text() -> None:
    assert coding.factor(["10", "9", "2"]).levels == ("2", "9", "10")
    assert codes(pd.Series(["b", "a"])).tolist() == [1, 0]


def test_intervals_hold_95_in_100_unless_asked(rated: LinearMixed) -> None:
    found = satterthwaite.t_tests(rated)
    assert found.level == 0.95
    reach = distributions.t.ppf(0.975, found.df) * found.se
    np.testing.assert_allclose(found.upper - found.estimate, reach, rtol=1e-12)


def test_a_variance_known_without_error_has_no_end_of_degrees_of_freedom() -> None:
    one = np.ones(1)
    assert satterthwaite._df(one, np.eye(1), np.zeros((1, 1)), np.ones((1, 1, 1))) == np.inf
    assert satterthwaite._df(one, np.eye(1), np.eye(1), np.ones((1, 1, 1))) == 2.0
