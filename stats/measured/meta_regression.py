"""Linear model of estimates whose covariance is known, with a scatter about the model that is not."""

from dataclasses import dataclass

import numpy as np
import scipy
from scipy import linalg, special

from stats.errors import BadData, NotIdentified
from stats.fixed.likelihood import BoolArray, FloatArray, as_floats

GRID = 40  # values of the scatter looked at before the best is refined: the likelihood may have two tops


@dataclass(frozen=True)
class MetaRegression:
    """Maximum-likelihood fit."""

    coefficients: FloatArray
    """(p,)"""
    covariance: FloatArray
    """(p, p), the scatter held."""
    scatter: float
    """Standard deviation of the true values about the model."""
    loglik: float
    """The plain one."""
    heterogeneity: float
    """Weighted sum of squares about the model without scatter."""
    df: int
    """Of the heterogeneity: observations less coefficients."""

    def p_heterogeneity(self, df_covariance: float = np.inf) -> float:
        """Chance of a heterogeneity this large where nothing scatters.

        Parameters
        ----------
        df_covariance : degrees of freedom of the estimates' covariance; F instead of chi square where finite
        """
        if np.isinf(df_covariance):
            return float(special.chdtrc(self.df, self.heterogeneity))
        return float(special.fdtrc(self.df, df_covariance, self.heterogeneity / self.df))


def fit(
    estimates: FloatArray,
    x: FloatArray,
    covariance: FloatArray,
    *,
    scatters: BoolArray | None = None,
    restricted: bool = False,
) -> MetaRegression:
    """Maximum likelihood of estimates ~ Normal(x b, covariance + scatter^2 on those that scatter).

    Parameters
    ----------
    estimates : (n,)
    x : (n, p), p may be 0
    covariance : (n, n) of the estimates, positive definite
    scatters : (n,) whether a value's truth departs from the model; all do if not given
    restricted : choose the scatter with the coefficients integrated out: plain likelihood makes it too small

    Raises
    ------
    BadData
        Shapes disagree, or as many coefficients as estimates.
    NotIdentified
        A column repeats the others.

    Source: van Houwelingen, Arends & Stijnen 2002, Stat. Med. 21; Hardy & Thompson 1996, Stat. Med. 15.
    """
    y, x, v = as_floats(estimates), as_floats(x), as_floats(covariance)
    moves = np.ones(y.size) if scatters is None else np.asarray(scatters, dtype=float)
    _check(y, x, v, moves)

    def lost(scatter: float) -> float:
        weight, loglik, _ = _at(y, x, v + scatter**2 * np.diag(moves))
        return -loglik + restricted * 0.5 * float(np.linalg.slogdet(x.T @ weight @ x)[1])

    def slope(scatter: float) -> float:
        return _slope(y, x, v + scatter**2 * np.diag(moves), moves, restricted=restricted)

    grid = np.concatenate([[0.0], np.geomspace(1e-4, 10.0, GRID) * _scale(y, v)])
    best = int(np.argmin([lost(one) for one in grid]))
    scatter = float(grid[best])
    if best > 0:
        low, high = float(grid[best - 1]), float(grid[min(best + 1, GRID)])
        # where the slope is zero is known to more digits than where the value is lowest
        if slope(low) < 0 < slope(high):
            scatter = float(scipy.optimize.brentq(slope, low, high, xtol=1e-13))
    weight, loglik, b = _at(y, x, v + scatter**2 * np.diag(moves))
    plain, _, b_plain = _at(y, x, v)
    rest = y - x @ b_plain
    return MetaRegression(
        coefficients=b,
        covariance=as_floats(np.linalg.inv(x.T @ weight @ x)),
        scatter=scatter,
        loglik=loglik,
        heterogeneity=float(rest @ plain @ rest),
        df=y.size - x.shape[1],
    )


def contrasts(k: int) -> FloatArray:
    """(k, k - 1) orthonormal differences (Helmert's): what is left of k values known up to a constant."""
    return as_floats(linalg.helmert(k).T)


def _at(y: FloatArray, x: FloatArray, omega: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Inverse covariance, log-likelihood and coefficients where the whole covariance is omega."""
    weight = as_floats(np.linalg.inv(omega))
    b = as_floats(np.linalg.solve(x.T @ weight @ x, x.T @ weight @ y))
    rest = y - x @ b
    spread = float(np.linalg.slogdet(omega)[1])
    return weight, -0.5 * (spread + float(rest @ weight @ rest) + y.size * float(np.log(2 * np.pi))), b


def _slope(y: FloatArray, x: FloatArray, omega: FloatArray, moves: FloatArray, *, restricted: bool) -> float:
    """Of minus the log-likelihood by the scatter's variance."""
    weight, _, b = _at(y, x, omega)
    pull = weight @ (y - x @ b)
    kernel = weight
    if restricted:
        half = weight @ x
        kernel = weight - half @ np.linalg.solve(x.T @ half, half.T)
    return 0.5 * float(np.diag(kernel) @ moves - moves @ pull**2)


def _scale(y: FloatArray, v: FloatArray) -> float:
    return float(np.sqrt(np.mean(y**2) + np.trace(v) / y.size))


def _check(y: FloatArray, x: FloatArray, v: FloatArray, moves: FloatArray) -> None:
    n = y.size
    if x.ndim != 2 or x.shape[0] != n or v.shape != (n, n) or moves.shape != (n,):
        raise BadData(f"{n} estimates, columns {x.shape}, covariance {v.shape}, {moves.size} scatter marks")
    if x.shape[1] >= n:
        raise BadData(f"{n} estimates cannot bear {x.shape[1]} coefficients")
    if np.linalg.matrix_rank(x) < x.shape[1]:
        raise NotIdentified(f"{x.shape[1]} columns have rank {np.linalg.matrix_rank(x)}; leave one out")
    if np.linalg.eigvalsh(v)[0] <= 0:
        raise BadData("the covariance of the estimates is not positive definite")
