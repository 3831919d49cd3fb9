"""Straight-line slopes where both axes carry errors of known size, and points may scatter about the line."""

from dataclasses import dataclass

import numpy as np
import scipy

from stats.errors import BadData, NotConverged, NotIdentified
from stats.fixed.likelihood import FloatArray, as_floats
from stats.measured import meta_regression

STEPS = 500
TOLERANCE = 1e-12
MOST_DOUBLINGS = 40


@dataclass(frozen=True)
class Slopes:
    """Slopes of y on each x, errors of both taken into account."""

    estimate: FloatArray
    """(p,)"""
    covariance: FloatArray
    """(p, p)"""
    scatter: float
    """Standard deviation of the points about the line beyond their errors, in y."""
    misfit: float
    """Weighted sum of squares about the line without scatter; its expectation is df."""
    df: int
    """Points less slopes less one."""

    @property
    def se(self) -> FloatArray:
        """(p,) standard errors."""
        return np.sqrt(np.diag(self.covariance))


def fit(x: FloatArray, y: FloatArray, *, x_se: FloatArray, y_covariance: FloatArray, scatter: bool) -> Slopes:
    """Slopes by least squares weighted with the errors of both axes.

    Parameters
    ----------
    x : (n, p) measured values; p may be 0, which leaves the scatter about a mean
    y : (n,) estimates; only their differences count, so a sum held at zero does no harm
    x_se : (n, p) standard errors of x, independent of each other and of y
    y_covariance : (n, n)
    scatter : let points depart from the line by more than their errors, by as much as makes the weighted sum
        of squares equal its expectation (Paule & Mandel)

    Raises
    ------
    BadData
        Shapes disagree, or too few points.
    NotIdentified
        The errors of x drown its spread.
    NotConverged

    Source: York 1966, Can. J. Phys. 44; York, Evensen, Lopez Martinez & De Basabe Delgado 2004, Am. J. Phys.
    72(3), equations 13, here with correlated y and several x; Paule & Mandel 1982, J. Res. NBS 87(5).
    """
    x, y, u, v = as_floats(x), as_floats(y), as_floats(x_se), as_floats(y_covariance)
    _check(x, y, u, v)
    contrasts = meta_regression.contrasts(y.size)  # differences alone: the intercept drops out
    if np.linalg.eigvalsh(contrasts.T @ (v + np.diag((u**2).sum(axis=1))) @ contrasts)[0] <= 0:
        raise BadData("some difference of points has no error at all; wanted errors of y, or of x")
    points = _Points(contrasts.T @ x, contrasts.T @ y, u, v, contrasts)
    df = y.size - 1 - x.shape[1]
    plain = points.solved(0.0)
    spread = points.scatter(df) if scatter and plain.misfit > df else 0.0
    found = plain if spread == 0.0 else points.solved(spread)
    return Slopes(found.slopes, found.covariance, spread, plain.misfit, df)


@dataclass(frozen=True)
class _Solved:
    slopes: FloatArray
    covariance: FloatArray
    misfit: float


@dataclass(frozen=True)
class _Points:
    """Points as contrasts, with the errors of the points themselves."""

    x: FloatArray
    y: FloatArray
    u: FloatArray
    v: FloatArray
    contrasts: FloatArray

    def solved(self, scatter: float) -> _Solved:
        """York's iteration: each x drawn to where the line and its errors would have it."""
        b = as_floats(np.linalg.lstsq(self.x, self.y, rcond=None)[0])
        for _ in range(STEPS):
            weight = self._weight(b, scatter)
            drawn = self._drawn(b, weight)
            after = as_floats(np.linalg.solve(drawn.T @ weight @ self.x, drawn.T @ weight @ self.y))
            if not np.isfinite(after).all():
                break
            if np.abs(after - b).max(initial=0.0) <= TOLERANCE * (1 + np.abs(after).max(initial=0.0)):
                rest = self.y - self.x @ after
                covariance = as_floats(np.linalg.inv(drawn.T @ weight @ drawn))
                return _Solved(after, covariance, float(rest @ weight @ rest))
            b = after
        raise NotConverged(f"line with errors on both axes: no slope within {STEPS} steps")

    def _weight(self, b: FloatArray, scatter: float) -> FloatArray:
        own = np.diag(((self.u * b) ** 2).sum(axis=1) + scatter**2)
        return as_floats(np.linalg.inv(self.contrasts.T @ (self.v + own) @ self.contrasts))

    def _drawn(self, b: FloatArray, weight: FloatArray) -> FloatArray:
        """(n - 1, p) contrasts of x at the points of the line nearest to what was measured."""
        pull = self.contrasts @ weight @ (self.y - self.x @ b)
        return self.x + self.contrasts.T @ (self.u**2 * b * pull[:, None])

    def scatter(self, df: int) -> float:
        """The scatter at which the weighted sum of squares is df."""

        def above(spread: float) -> float:
            return self.solved(spread).misfit - df

        upper = float(np.std(self.y)) + TOLERANCE
        for _ in range(MOST_DOUBLINGS):
            if above(upper) < 0:
                return float(scipy.optimize.brentq(above, 0.0, upper, xtol=1e-10))
            upper *= 2
        raise NotConverged("line with errors on both axes: no scatter explains the distance of the points")


def _check(x: FloatArray, y: FloatArray, u: FloatArray, v: FloatArray) -> None:
    n = y.size
    if x.ndim != 2 or x.shape[0] != n or u.shape != x.shape or v.shape != (n, n):
        raise BadData(f"{n} points with x {x.shape}, errors of x {u.shape}, covariance of y {v.shape}")
    if n - 1 - x.shape[1] < 1:
        raise BadData(f"{n} points cannot bear {x.shape[1]} slopes; wanted at least {x.shape[1] + 2}")
    if not (np.isfinite(u).all() and (u >= 0).all()):
        raise BadData("errors of x must be finite and not negative")
    spread, noise = x.var(axis=0, ddof=1), (u**2).mean(axis=0)
    if (drowned := (noise > 0) & (spread <= noise)).any():
        j = int(np.argmax(drowned))
        raise NotIdentified(
            f"measured values differ by {spread[j] ** 0.5:.3g} (standard deviation), their own errors are "
            f"{noise[j] ** 0.5:.3g}: no slope can be seen; record more strikes, or leave this metric out"
        )
