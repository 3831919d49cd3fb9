"""The Laplace engine: gradient against extrapolated differences, value against direct integration."""

import numpy as np
import pytest

from stats.fixed.binary import Binary
from stats.mixed.engine import laplace, random_terms
from tests.stats import richardson

MODE_ERROR = 1e-9  # the mode is left within 1e-10 standard errors, and slopes follow it some ten times


def _problem(rng, *, link="logit", flat=False, correlated=True):
    n, listeners, stimuli = 240, 8, 6
    listener = rng.integers(0, listeners, n)
    first = rng.integers(0, stimuli, n)
    second = (first + rng.integers(1, stimuli, n)) % stimuli
    slopes = rng.normal(size=(n, 2))
    x = np.column_stack([np.ones(n), slopes])
    y = (rng.random(n) < 0.6).astype(float)
    terms = [
        random_terms.term("listener", listener, slopes, correlated=correlated),
        random_terms.pair_term("stimulus", first, second),
        random_terms.pair_term("cell", listener * stimuli + first, listener * stimuli + second),
    ]
    structure = random_terms.build(terms, x if flat else None)
    offset = 0.1 * rng.normal(size=n)
    return laplace.Problem(Binary.of(y, 1 - y, link), structure, x[:, :0] if flat else x, offset)


@pytest.mark.parametrize("link", ["logit", "probit", "cloglog"])
@pytest.mark.parametrize("flat", [False, True], ids=["ml", "restricted"])
@pytest.mark.parametrize("correlated", [False, True], ids=["uncorrelated", "correlated"])
def test_gradient_equals_extrapolated_differences(link, flat, correlated):
    rng = np.random.default_rng(11)
    problem = _problem(rng, link=link, flat=flat, correlated=correlated)
    p, k = problem.x.shape[1], problem.structure.n_theta
    point = np.concatenate([0.2 * rng.normal(size=p), 0.3 + 0.4 * rng.random(k)])
    start = np.zeros(problem.structure.n_columns)

    def at(where):
        return laplace.evaluate(problem, where[:p], np.zeros(0), where[p:], start)

    for found, unit in zip(at(point).gradient, np.eye(point.size), strict=True):
        richardson.slope(lambda h, unit=unit: at(point + h * unit).value).check(found, inexact=MODE_ERROR)


@pytest.mark.parametrize("flat", [False, True], ids=["ml", "restricted"])
def test_value_equals_the_dense_formula(flat):
    problem = _problem(np.random.default_rng(3), flat=flat)
    theta = 0.3 + 0.1 * np.arange(problem.structure.n_theta)
    beta = np.array([0.1, -0.2, 0.3])[: problem.x.shape[1]]
    found = laplace.evaluate(problem, beta, np.zeros(0), theta, np.zeros(problem.structure.n_columns)).mode
    n, q = found.scaled.shape[0], problem.structure.n_columns
    dense = np.zeros((n, q))
    for i in range(n):
        np.add.at(dense[i], problem.structure.column[i], found.scaled[i])
    prior = np.diag(problem.structure.prior)
    hessian = prior + dense.T @ (-found.rows.d2[:, None] * dense)
    np.testing.assert_allclose(dense.T @ found.rows.d1, problem.structure.prior * found.u, atol=1e-9)
    flat_columns = np.count_nonzero(problem.structure.prior == 0)
    expected = found.rows.total - 0.5 * found.u @ prior @ found.u
    expected += -0.5 * np.linalg.slogdet(hessian)[1] + 0.5 * flat_columns * np.log(2 * np.pi)
    assert found.value == pytest.approx(expected, rel=1e-12)
