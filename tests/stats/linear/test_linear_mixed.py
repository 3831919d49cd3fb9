"""Linear mixed model: published fits, exact cases, a dense check, boundaries, limits."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData, NotIdentified
from stats.fixed.coding import factor
from stats.linear import cross_products, linear_mixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm, term
from tests.stats import richardson

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "linear_mixed.toml").read_text())
LEVELS = ["ref", "s1", "s2", "s3", "s4", "anchor"]


def codes(labels: pd.Series) -> np.ndarray:
    return factor([str(label) for label in labels]).codes


def sleepstudy(*, slopes: bool) -> tuple[np.ndarray, np.ndarray, list[RandomTerm]]:
    table = pd.read_csv(PUBLISHED / "sleepstudy.csv")
    x = np.column_stack([np.ones(len(table)), table.Days])
    columns = {"columns": x, "column_names": ["", "Days"], "correlated": True} if slopes else {}
    return table.Reaction.to_numpy(float), x, [term("Subject", codes(table.Subject), **columns)]


def rating() -> tuple[np.ndarray, np.ndarray, list[RandomTerm]]:
    table = pd.read_csv(PUBLISHED / "rating_small.csv")
    x = np.column_stack([np.ones(len(table)), *(table.system == level for level in LEVELS[1:])]).astype(float)
    groups = {
        "listener:system": table.listener + table.system,
        "item:system": table["item"] + table.system,
        "listener": table.listener,
        "item": table["item"],
    }
    terms = [term(name, codes(labels)) for name, labels in groups.items()]
    return table.score.to_numpy(float), x, terms


def published(name: str) -> tuple[np.ndarray, np.ndarray, list[RandomTerm]]:
    """Answers, fixed columns and random terms of the further data sets; see ratings_reference.R."""
    if name == "sleep_gaps":
        answers, x, _ = sleepstudy(slopes=True)
        subject = np.repeat(np.arange(1, 19), 10)
        kept = ~((np.arange(1, 181) % 7 == 3) | ((subject <= 6) & (x[:, 1] > 5)))
        x, subject = x[kept], subject[kept]
        slopes = term("Subject", subject - 1, x, column_names=["", "Days"], correlated=True)
        return answers[kept], np.column_stack([x, subject % 3 == 0]).astype(float), [slopes]
    table = pd.read_csv(PUBLISHED / f"{name}.csv")
    ones = np.ones(len(table))
    if name == "carrots":
        x = np.column_stack([ones, table.sens1, table.sens2, table.Homesize == 3]).astype(float)
        return (
            table.Preference.to_numpy(float),
            x,
            [term(n, codes(table[n])) for n in ("Consumer", "Product")],
        )
    answer, groups = {
        "penicillin": ("diameter", ("plate", "sample")),
        "pastes": ("strength", ("sample", "batch")),
        "dyestuff2": ("Yield", ("Batch",)),
    }[name]
    return table[answer].to_numpy(float), ones[:, None], [term(n, codes(table[n])) for n in groups]


def crossed(seed: int, n: int = 120) -> tuple[np.ndarray, np.ndarray, list[RandomTerm]]:
    """Listeners with correlated intercept and slope, crossed with stimuli that enter as a difference."""
    rng = np.random.default_rng(seed)
    listener, stimulus = rng.integers(0, 9, n), rng.integers(0, 5, (2, n))
    x = np.column_stack([np.ones(n), rng.normal(size=n)])
    terms = [
        term("listener", listener, x, column_names=["", "slope"], correlated=True),
        random_terms.pair_term("stimulus", stimulus[0], stimulus[1]),
    ]
    effects, strikes = rng.normal(size=(9, 2)), rng.normal(size=5)
    y = x @ [2.0, 1.0] + (x * effects[listener]).sum(axis=1) + strikes[stimulus[0]] - strikes[stimulus[1]]
    return y + rng.normal(size=n), x, terms


def dense_deviance(
    y: np.ndarray, x: np.ndarray, terms: list[RandomTerm], factors: list[np.ndarray], reml: bool
) -> float:
    """The profiled deviance from the n by n covariance itself."""
    v0 = np.eye(y.size)
    for one, lower in zip(terms, factors, strict=True):
        z = np.zeros((y.size, one.n_levels, one.columns.shape[1]))
        for s in range(one.level.shape[1]):
            for i in range(y.size):
                z[i, one.level[i, s]] += one.weight[i, s] * one.columns[i]
        half = (z @ lower).reshape(y.size, -1)
        v0 += half @ half.T
    solved = np.linalg.solve(v0, np.column_stack([x, y]))
    information = x.T @ solved[:, :-1]
    beta = np.linalg.solve(information, x.T @ solved[:, -1])
    r2 = float((y - x @ beta) @ np.linalg.solve(v0, y - x @ beta))
    m = y.size - x.shape[1] if reml else y.size
    log_det = np.linalg.slogdet(v0)[1] + (np.linalg.slogdet(information)[1] if reml else 0.0)
    return float(log_det + m * (1 + np.log(2 * np.pi * r2 / m)))


@pytest.mark.parametrize(
    ("key", "slopes", "reml"),
    [
        ("sleepstudy_corr_REML", True, True),
        ("sleepstudy_corr_ML", True, False),
        ("sleepstudy_int_REML", False, True),
    ],
)
def test_sleepstudy_agrees_with_the_reference_fit(key: str, slopes: bool, reml: bool) -> None:
    answers, x, terms = sleepstudy(slopes=slopes)
    found = linear_mixed.fit(answers, x, terms, names=["intercept", "Days"], reml=reml)
    expected = REFERENCE[key]
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-6)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-6)
    np.testing.assert_allclose([*found.spread.values(), found.residual], expected["spread"], atol=1e-5)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    assert found.singular == ()
    if "correlation" in expected:
        # the reference's own optimiser leaves the correlation 1e-6 short
        assert found.correlation["Subject"][1, 0] == pytest.approx(expected["correlation"], abs=1e-6)
        np.testing.assert_allclose(found.blups["Subject"], expected["modes"], atol=1e-4)


def test_ratings_with_nested_and_crossed_effects_agree_with_the_reference_fit() -> None:
    answers, x, terms = rating()
    found = linear_mixed.fit(answers, x, terms, names=LEVELS)
    expected = REFERENCE["rating"]
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-6)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=1e-6)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    for name, variance in expected["variance"].items():
        sd = found.residual if name == "Residual" else found.spread[name]
        assert sd**2 == pytest.approx(variance, abs=1e-5), name


@pytest.mark.parametrize("name", ["sleep_gaps", "carrots", "penicillin", "pastes", "dyestuff2"])
def test_further_published_data_agree_with_the_reference_fit(name: str) -> None:
    found, expected = linear_mixed.fit(*published(name)), REFERENCE[name]
    np.testing.assert_allclose(found.estimate, expected["fixed"], atol=1e-6)
    np.testing.assert_allclose(found.se, expected["se"], rtol=1e-6)
    np.testing.assert_allclose([*found.spread.values(), found.residual], expected["spread"], atol=1e-5)
    assert found.loglik == pytest.approx(expected["loglik"], abs=1e-6)
    assert bool(found.singular) == (0.0 in expected["spread"])
    if "correlation" in expected:
        assert found.correlation["Subject"][1, 0] == pytest.approx(expected["correlation"], abs=1e-6)


@pytest.mark.parametrize("reml", [True, False], ids=["reml", "ml"])
@pytest.mark.parametrize("seed", range(3))
def test_deviance_equals_that_of_the_dense_covariance(seed: int, reml: bool) -> None:
    y, x, terms = crossed(seed)
    theta = np.random.default_rng(seed).normal(size=4)
    structure = random_terms.build(terms)
    products = cross_products.build(structure, x, y, ("a", "b"))
    factors = [np.array([[theta[0], 0.0], [theta[1], theta[2]]]), np.array([[theta[3]]])]
    found = linear_mixed._evaluate(products, theta, reml=reml)
    assert found.deviance == pytest.approx(dense_deviance(y, x, terms, factors, reml), rel=1e-11)


@pytest.mark.parametrize("reml", [True, False], ids=["reml", "ml"])
@pytest.mark.parametrize("seed", range(3))
def test_gradient_agrees_with_extrapolated_differences(seed: int, reml: bool) -> None:
    y, x, terms = crossed(seed)
    theta = np.random.default_rng(seed).normal(size=4)
    products = cross_products.build(random_terms.build(terms), x, y, ("a", "b"))

    def deviance(h: float, unit: np.ndarray) -> float:
        return float(linear_mixed._evaluate(products, theta + h * unit, reml=reml).deviance)

    gradient = linear_mixed._evaluate(products, theta, reml=reml).gradient
    for found, unit in zip(gradient, np.eye(theta.size), strict=True):
        richardson.slope(lambda h, unit=unit: deviance(h, unit)).check(found)


def test_fitted_deviance_is_lowest_of_the_dense_ones_around_it() -> None:
    y, x, terms = crossed(1)
    found = linear_mixed.fit(y, x, terms)
    lower = np.array([[found.theta[0], 0.0], [found.theta[1], found.theta[2]]])
    here = dense_deviance(y, x, terms, [lower, found.theta[3:].reshape(1, 1)], reml=True)
    assert -2 * found.loglik == pytest.approx(here, rel=1e-11)
    for j in range(4):
        for step in (-0.01, 0.01):
            moved = found.theta.copy()
            moved[j] += step
            lower = np.array([[moved[0], 0.0], [moved[1], moved[2]]])
            assert dense_deviance(y, x, terms, [lower, moved[3:].reshape(1, 1)], reml=True) > here


def test_balanced_groups_give_the_mean_squares_of_the_analysis_of_variance() -> None:
    # three groups of four, by hand: between mean square 28, within 2, so group variance (28 - 2) / 4
    y = np.array([1, 2, 3, 4, 5, 6, 7, 8, 3, 4, 5, 6], dtype=float) + np.repeat([0, 1, 0], 4)
    group = np.repeat([0, 1, 2], 4)
    means = y.reshape(3, 4).mean(axis=1)
    between, within = 4 * means.var(ddof=1), y.reshape(3, 4).var(axis=1, ddof=1).mean()
    found = linear_mixed.fit(y, np.ones((12, 1)), [term("group", group)])
    assert found.spread["group"] ** 2 == pytest.approx((between - within) / 4, abs=1e-7)
    assert found.residual**2 == pytest.approx(within, abs=1e-7)
    assert found.se[0] == pytest.approx(np.sqrt(between / 12), abs=1e-7)


def test_no_spread_between_groups_is_a_singular_fit_that_equals_the_regression() -> None:
    y = np.tile([1.0, 2.0, 3.0, 4.0], 6)
    x = np.column_stack([np.ones(24), np.tile([0.0, 1.0, 0.0, 1.0], 6)])
    found = linear_mixed.fit(y, x, [term("group", np.repeat(np.arange(6), 4))])
    beta, residual = np.linalg.lstsq(x, y, rcond=None)[:2]
    assert found.singular == ("group",)
    assert found.spread["group"] == 0.0
    np.testing.assert_allclose(found.estimate, beta, atol=1e-9)
    assert found.residual == pytest.approx(np.sqrt(residual[0] / 22), abs=1e-9)


def test_without_random_terms_the_fit_is_the_regression() -> None:
    y, x, _ = crossed(4)
    found = linear_mixed.fit(y, x, [])
    beta, residual = np.linalg.lstsq(x, y, rcond=None)[:2]
    np.testing.assert_allclose(found.estimate, beta, atol=1e-10)
    assert found.residual == pytest.approx(np.sqrt(residual[0] / (y.size - 2)), abs=1e-10)
    plain = linear_mixed.fit(y, x, [], reml=False)
    expected = -0.5 * y.size * (np.log(2 * np.pi * residual[0] / y.size) + 1)
    assert plain.loglik == pytest.approx(expected, abs=1e-9)


def test_names_of_levels_do_not_matter() -> None:
    y, x, terms = crossed(2)
    plain = linear_mixed.fit(y, x, [terms[0]])
    turned = term("listener", 8 - terms[0].level[:, 0], x, column_names=["", "slope"], correlated=True)
    other = linear_mixed.fit(y, x, [turned])
    assert other.loglik == pytest.approx(plain.loglik, abs=1e-8)
    np.testing.assert_allclose(other.blups["listener"][::-1], plain.blups["listener"], atol=1e-5)


def test_a_far_covariate_and_far_answers_lose_no_digits() -> None:
    y, x, terms = crossed(3)
    plain = linear_mixed.fit(y, x, [terms[1]])
    moved = x.copy()
    moved[:, 1] += 1e5
    other = linear_mixed.fit(y + 1e6, moved, [terms[1]])
    assert other.estimate[1] == pytest.approx(plain.estimate[1], abs=1e-6)
    assert other.loglik == pytest.approx(plain.loglik, abs=1e-6)


def test_units_of_the_answers_scale_everything() -> None:
    y, x, terms = crossed(5)
    plain, tenfold = linear_mixed.fit(y, x, terms), linear_mixed.fit(10 * y, x, terms)
    np.testing.assert_allclose(tenfold.estimate, 10 * plain.estimate, rtol=1e-7)
    np.testing.assert_allclose(
        list(tenfold.spread.values()), 10 * np.array(list(plain.spread.values())), rtol=1e-5
    )


def test_known_truth_comes_back() -> None:
    rng = np.random.default_rng(20240611)
    listener, stimulus = np.repeat(np.arange(400), 30), np.tile(np.arange(30), 400)
    x = np.column_stack([np.ones(12000), stimulus % 2])
    y = x @ [1.0, 0.5] + rng.normal(0, 0.8, 400)[listener] + rng.normal(0, 0.4, 30)[stimulus]
    found = linear_mixed.fit(
        y + rng.normal(0, 1.2, 12000), x, [term("listener", listener), term("stimulus", stimulus)]
    )
    # four standard errors of a standard deviation from k levels: 4 / sqrt(2 k), relative
    assert found.spread["listener"] == pytest.approx(0.8, rel=4 / np.sqrt(800))
    assert found.spread["stimulus"] == pytest.approx(0.4, rel=4 / np.sqrt(58))
    assert found.residual == pytest.approx(1.2, rel=4 / np.sqrt(2 * 11570))
    assert abs(found.estimate[1] - 0.5) < 4 * found.se[1]


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"answers": np.full(120, np.nan)}, BadData, "must be finite"),
        ({"answers": np.ones(3)}, BadData, "do not fit"),
        ({"x": np.ones((120, 2))}, NotIdentified, "x2 repeat"),
        ({"x": np.ones((120, 121))}, BadData, "wanted at least 122"),
        ({"names": ["a", "a"]}, BadData, "all different"),
        ({"terms": [term("row", np.arange(120))]}, BadData, "120 levels for 120 answers"),
        ({"terms": [term("few", np.zeros(7, dtype=int))]}, BadData, "has 7 rows"),
        ({"terms": [term("a", np.arange(120) % 5), term("a", np.arange(120) % 7)]}, BadData, "same name"),
    ],
    ids=["nan", "rows", "repeat", "few rows", "names", "levels", "term rows", "term names"],
)
def test_what_cannot_be_fitted_is_named(
    change: dict[str, object], error: type[Exception], message: str
) -> None:
    y, x, terms = crossed(0)
    given: dict[str, object] = {"answers": y, "x": x, "terms": terms} | change
    with pytest.raises(error, match=message):
        linear_mixed.fit(**given)  # type: ignore[arg-type]


def test_a_fit_prints_a_summary_and_turns_into_a_table() -> None:
    answers, x, terms = sleepstudy(slopes=False)
    found = linear_mixed.fit(answers, x, terms, names=["intercept", "Days"])
    assert found.to_frame().loc["Days", "estimate"] == found.estimate[1]
    for word in ("REML", "180 answers", "Days", "10.4673", "spread Subject: 37.1238", "spread residual"):
        assert word in str(found)
