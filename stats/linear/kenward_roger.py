"""Degrees of freedom and corrected standard errors by Kenward and Roger, for a REML linear mixed model."""

import numpy as np
from numpy.typing import ArrayLike

from stats import threads
from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, as_floats
from stats.linear import variance_components
from stats.linear.contrast_tests import ContrastTests, FTest, check_contrasts
from stats.linear.linear_mixed import LinearMixed


def t_tests(model: LinearMixed, contrasts: ArrayLike | None = None, *, level: float = 0.95) -> ContrastTests:
    """t-test and interval of each contrast, with the covariance corrected for estimated variances.

    Parameters
    ----------
    contrasts : (k, p) or (p,) array; the estimates themselves if not given
    level : 0 to 1
        Of the interval of each contrast on its own.

    Raises
    ------
    BadData
        The model was not fitted by REML.

    Source: Kenward & Roger 1997, Biometrics 53, 983-997; Halekoh & Hojsgaard 2014, J. Stat. Softw. 59(9).
    """
    rows = check_contrasts(contrasts, model.names)
    adjusted, spread, slopes = _adjusted(model)
    df = np.array([_scaling(row[None], model.covariance, spread, slopes)[0] for row in rows])
    return ContrastTests.of(rows @ model.estimate, rows @ adjusted @ rows.T, df, level, "Kenward-Roger")


def f_test(model: LinearMixed, contrasts: ArrayLike) -> FTest:
    """Joint test that every contrast is zero; the contrasts must be linearly independent."""
    rows = check_contrasts(contrasts, model.names)
    adjusted, spread, slopes = _adjusted(model)
    df, factor = _scaling(rows, model.covariance, spread, slopes)
    found = rows @ model.estimate
    statistic = factor / rows.shape[0] * float(found @ np.linalg.solve(rows @ adjusted @ rows.T, found))
    return FTest.of(statistic, rows.shape[0], df, "Kenward-Roger")


def _adjusted(model: LinearMixed) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Corrected covariance (p, p), covariance of the variances (k, k), and Phi P_j Phi (k, p, p)."""
    if not model.reml:
        raise BadData(
            "Kenward and Roger's correction needs a REML fit; this model was fitted by plain likelihood"
        )
    with threads.single():
        parts = variance_components.of(model)
        traces = variance_components.information(parts, reml=True)[2]
        spread = as_floats(2.0 * np.linalg.pinv(traces, hermitian=True))
        slopes = variance_components.covariance_slopes(parts)
        curvatures = variance_components.covariance_curvatures(parts)
        inner = curvatures - np.einsum("iab,bc,jcd->ijad", slopes, parts.phi, slopes)
        correction = parts.phi @ np.tensordot(spread, inner, axes=2) @ parts.phi
    corrected = parts.phi + correction + correction.T
    return corrected, spread, -(parts.phi @ slopes @ parts.phi)


def _scaling(
    rows: FloatArray, covariance: FloatArray, spread: FloatArray, slopes: FloatArray
) -> tuple[float, float]:
    """Denominator degrees of freedom and the factor on F, in the letters of the paper."""
    size = rows.shape[0]
    theta = rows.T @ np.linalg.solve(rows @ covariance @ rows.T, rows)
    turned = np.einsum("ab,jbc->jac", theta, slopes)
    traces = np.einsum("jaa->j", turned)
    a1 = float(traces @ spread @ traces)
    a2 = float(np.einsum("ij,iab,jba->", spread, turned, turned))
    b = (a1 + 6 * a2) / (2 * size)
    g = ((size + 1) * a1 - (size + 4) * a2) / ((size + 2) * a2)
    below = 3 * size + 2 * (1 - g)
    c1, c2, c3 = g / below, (size - g) / below, (size + 2 - g) / below
    expectation = 1 / (1 - a2 / size)
    variance = 2 / size * (1 + c1 * b) / ((1 - c2 * b) ** 2 * (1 - c3 * b))
    rho = variance / (2 * expectation**2)
    df = 4 + (size + 2) / (size * rho - 1)
    return df, df / (expectation * (df - 2)) if df > 2 else 1.0
