"""Adaptive Gauss-Hermite likelihood: published fit, direct integration, limits of use."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData
from stats.fixed.binary import Binary
from stats.mixed import logistic_mixed
from stats.mixed.engine import gauss_hermite, laplace, random_terms

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "logistic_mixed.toml").read_text())


def cbpp():
    table = pd.read_csv(PUBLISHED / "cbpp.csv")
    x = np.column_stack([np.ones(len(table))] + [table.period == k for k in (2, 3, 4)]).astype(float)
    return table.incidence.to_numpy(float), table["size"].to_numpy(float), x, table.herd.to_numpy() - 1


def test_ten_nodes_agree_with_the_reference_fit():
    won, trials, x, herd = cbpp()
    found = logistic_mixed.fit(won, x, [random_terms.term("herd", herd)], trials=trials, nodes=10)
    expected = REFERENCE["cbpp_nodes_10"]
    # the reference optimiser stops short, as in the Laplace fit
    np.testing.assert_allclose(found.estimate, list(expected["fixed"].values()), atol=1e-4)
    np.testing.assert_allclose(found.se, list(expected["se"].values()), rtol=3e-4)
    assert found.spread["herd"] ** 2 == pytest.approx(expected["variance"][0], abs=1e-4)
    # the reference leaves out the saturated model's log-likelihood
    share = won / trials
    with np.errstate(divide="ignore", invalid="ignore"):
        saturated = np.nansum(won * np.log(share)) + np.nansum((trials - won) * np.log1p(-share))
    assert found.loglik - saturated == pytest.approx(expected["loglik"], abs=1e-5)


def test_many_nodes_equal_direct_integration():
    rng = np.random.default_rng(3)
    listener = np.repeat(np.arange(10), 12)
    x = np.column_stack([np.ones(120), rng.normal(size=120)])
    eta = x @ [0.3, 0.8] + 1.2 * rng.normal(size=10)[listener]
    answers = (rng.random(120) < 1 / (1 + np.exp(-eta))).astype(float)
    found = logistic_mixed.fit(answers, x, [random_terms.term("listener", listener)], nodes=25)
    grid = np.linspace(-9, 9, 6001)
    total = 0.0
    for g in range(10):
        rows = listener == g
        at = x[rows] @ found.estimate + found.spread["listener"] * grid[:, None]
        signs = np.where(answers[rows] == 1, 1.0, -1.0)
        density = -np.logaddexp(0, -signs * at).sum(axis=1) - grid**2 / 2
        total += np.log(np.trapezoid(np.exp(density), grid)) - 0.5 * np.log(2 * np.pi)
    assert found.loglik == pytest.approx(total, abs=1e-8)  # 25 nodes and 6001 points agree to more


def test_slopes_of_three_kinds_can_be_integrated():
    rng = np.random.default_rng(5)
    listener = np.repeat(np.arange(12), 25)
    slopes = rng.normal(size=(300, 3))
    eta = (slopes * (rng.normal(size=(12, 3)) * 0.8 + 0.5)[listener]).sum(axis=1)
    answers = (rng.random(300) < 1 / (1 + np.exp(-eta))).astype(float)
    term = random_terms.term("listener", listener, slopes)
    structure = random_terms.build([term])
    problem = laplace.Problem(Binary.of(answers, 1 - answers), structure, slopes, np.zeros(300))
    beta, sds, none = np.array([0.5, 0.4, 0.6]), np.array([0.8, 0.7, 0.9]), np.zeros(0)
    value, _ = gauss_hermite.loglik(problem, beta, none, sds, np.zeros(36), nodes=9)
    logs, squares = 0.0, 0.0
    for g in range(12):
        rows = listener == g
        at = (beta + rng.normal(size=(20000, 3)) * sds) @ slopes[rows].T
        density = np.exp(-np.logaddexp(0, -np.where(answers[rows] == 1, 1, -1) * at).sum(axis=1))
        logs += np.log(density.mean())
        squares += density.var() / density.mean() ** 2 / density.size
    assert value == pytest.approx(logs, abs=4 * np.sqrt(squares))  # 4 Monte Carlo errors


def test_three_slopes_a_listener_are_fitted():
    table = pd.read_csv(PUBLISHED / "panel_small.csv")
    x = np.column_stack([np.ones(len(table)), table[["d_level", "d_bright", "d_decay"]]])
    term = random_terms.term("listener", pd.factorize(table.listener)[0], x[:, 1:])
    plain, three = (logistic_mixed.fit(table.y.to_numpy(float), x, [term], nodes=n) for n in (1, 3))
    # 56 answers a listener: Laplace is already close, so both must agree to a fraction of an error
    assert np.abs((three.estimate - plain.estimate) / plain.se).max() < 0.2
    assert abs(three.loglik - plain.loglik) < 0.5
    assert three.loglik != plain.loglik


def test_crossed_terms_are_refused():
    rng = np.random.default_rng(1)
    listener, stimulus = rng.integers(0, 6, 90), rng.integers(0, 5, 90)
    answers = rng.integers(0, 2, 90).astype(float)
    terms = [random_terms.term("listener", listener), random_terms.term("stimulus", stimulus)]
    with pytest.raises(BadData, match="one grouping"):
        logistic_mixed.fit(answers, np.ones((90, 1)), terms, nodes=5)
