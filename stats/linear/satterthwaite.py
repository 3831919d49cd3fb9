"""Degrees of freedom by Satterthwaite's approximation, for contrasts of a linear mixed model."""

import math
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from stats import threads
from stats.fixed.likelihood import FloatArray
from stats.linear import variance_components
from stats.linear.contrast_tests import ContrastTests, FTest, check_contrasts
from stats.linear.linear_mixed import LinearMixed

EIGENVALUE_FLOOR = 1e-8  # directions in which the deviance is flat are left out
SAME_EIGENVALUE = 1e-5  # relative to the largest; closer than that, eigenvectors hang on the last bits


def t_tests(model: LinearMixed, contrasts: ArrayLike | None = None, *, level: float = 0.95) -> ContrastTests:
    """t-test and interval of each contrast.

    Parameters
    ----------
    model : the fit
    contrasts : (k, p) or (p,) array; the estimates themselves if not given
    level : 0 to 1
        Of the interval of each contrast on its own.

    Source: Satterthwaite 1946, Biometrics Bull. 2; Kuznetsova, Brockhoff & Christensen 2017, J. Stat. Softw.
    82(13), for the Hessian in the relative factors and the residual standard deviation.
    """
    rows = check_contrasts(contrasts, model.names)
    with threads.single():
        spread, slopes = _variance_parts(model)
    df = np.array([_df(row, model.covariance, spread, slopes) for row in rows])
    return ContrastTests.of(
        rows @ model.estimate, rows @ model.covariance @ rows.T, df, level, "Satterthwaite"
    )


def f_test(model: LinearMixed, contrasts: ArrayLike) -> FTest:
    """Joint test that every contrast is zero.

    Source: Fai & Cornelius 1996, J. Stat. Comput. Simul. 54, for the denominator degrees of freedom.
    """
    rows = check_contrasts(contrasts, model.names)
    values, vectors = np.linalg.eigh(rows @ model.covariance @ rows.T)
    kept = values > EIGENVALUE_FLOOR * values.max()
    values, turned = values[kept], vectors[:, kept].T @ rows
    with threads.single():
        spread, slopes = _variance_parts(model)
    df = [_shared_df(turned[alike], values[alike], spread, slopes) for alike in _runs(values)]
    rank = values.size
    statistic = float(np.sum((turned @ model.estimate) ** 2 / values) / rank)
    return FTest.of(statistic, rank, _denominator(np.concatenate(df)), "Satterthwaite")


def _runs(values: FloatArray) -> list[slice]:
    """Where rising eigenvalues are alike: there every direction is an eigenvector, and none may be picked."""
    breaks = np.flatnonzero(np.diff(values) > SAME_EIGENVALUE * values[-1]) + 1
    ends = [0, *breaks.tolist(), values.size]
    return [slice(start, stop) for start, stop in pairwise(ends)]


def _shared_df(rows: FloatArray, values: FloatArray, spread: FloatArray, slopes: FloatArray) -> FloatArray:
    """Degrees of freedom of contrasts of one variance: the variance of that variance is averaged over all
    directions, E[(u'Au)(u'Bu)] = (tr A tr B + 2 tr AB) / (d (d + 2)) for u even on the sphere."""
    d = len(rows)
    inner = rows @ slopes @ rows.T
    traces = np.trace(inner, axis1=1, axis2=2)
    second = np.outer(traces, traces) + 2 * np.einsum("iab,jba->ij", inner, inner)
    scatter = float(np.sum(spread * second)) / (d * (d + 2))
    return np.full(d, 2 * float(values.mean()) ** 2 / scatter if scatter > 0 else math.inf)


def _denominator(df: FloatArray) -> float:
    """Fai and Cornelius: the F distribution whose mean is that of the separate squares of t."""
    if df.size == 1 or np.ptp(df) < 1e-8 * df.max():
        return float(df.mean())
    above = df[df > 2]
    total = float(np.sum(above / (above - 2)))
    return 2 * total / (total - df.size) if total > df.size else 2.0


def _df(row: FloatArray, covariance: FloatArray, spread: FloatArray, slopes: FloatArray) -> float:
    variance = float(row @ covariance @ row)
    slope = slopes @ row @ row
    scatter = float(slope @ spread @ slope)
    return 2 * variance**2 / scatter if scatter > 0 else math.inf


def _variance_parts(model: LinearMixed) -> tuple[FloatArray, FloatArray]:
    """Covariance of (theta, sigma), and the slope of the estimates' covariance in each; (k, k), (k, p, p)."""
    parts = variance_components.of(model)
    gradient, hessian, _ = variance_components.information(parts, reml=model.reml)
    jacobian, bend = _factor_map(model, gradient)
    inner = jacobian.T @ hessian @ jacobian + bend
    values, vectors = np.linalg.eigh(0.5 * (inner + inner.T))
    kept = values > EIGENVALUE_FLOOR
    spread = 2.0 * (vectors[:, kept] / values[kept]) @ vectors[:, kept].T
    by_component = parts.phi @ variance_components.covariance_slopes(parts) @ parts.phi
    return spread, np.tensordot(jacobian.T, by_component, axes=1)


def _factor_map(model: LinearMixed, gradient: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Slopes of the covariance parameters in (theta, sigma), and their curvatures weighted by `gradient`.

    A term's covariance is sigma^2 T T' with T its factor; the residual variance is sigma^2.
    """
    sigma, size = model.residual, model.theta.size + 1
    jacobian, bend = np.zeros((size, size)), np.zeros((size, size))
    for _, _, width, at in model.products.structure.parts:
        entries = [(a, b) for a in range(width) for b in range(a + 1)]
        factor = np.zeros((width, width))
        for place, (a, b) in enumerate(entries):
            factor[a, b] = model.theta[at + place]
        for row, (a, b) in enumerate(entries):
            for place, (c, d) in enumerate(entries):
                slope = (a == c) * factor[b, d] + (b == c) * factor[a, d]
                jacobian[at + row, at + place] = sigma**2 * slope
                bend[at + place, -1] += gradient[at + row] * 2 * sigma * slope
                for other, (e, f) in enumerate(entries):
                    curvature = ((a == c) * (b == e) + (b == c) * (a == e)) * (d == f)
                    bend[at + place, at + other] += gradient[at + row] * sigma**2 * curvature
            product = float(factor[a] @ factor[b])
            jacobian[at + row, -1] = 2 * sigma * product
            bend[-1, -1] += gradient[at + row] * 2 * product
    bend[-1, :-1] = bend[:-1, -1]
    jacobian[-1, -1] = 2 * sigma
    bend[-1, -1] += gradient[-1] * 2
    return jacobian, bend
