"""Maximum likelihood of fixed effects and shape parameters together, by Newton steps."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from stats.errors import NotConverged, NotIdentified
from stats.fixed.likelihood import FloatArray, Likelihood
from stats.pairs.pair_design import Columns, Design

MAX_STEPS = 200
DECREMENT = 1e-16  # squared Newton decrement, log-likelihood units, at which an iteration has converged
_HALVINGS = 40
_PIVOT = 1e-10  # smallest share of a column's information that the other columns may leave it


@dataclass(frozen=True)
class Maximum:
    """Where the log-likelihood of fixed effects is highest."""

    beta: FloatArray
    shape: FloatArray
    information: FloatArray
    """Observed information (minus second derivative), order beta then shape."""
    loglik: float
    steps: int

    def covariance(self) -> FloatArray:
        """Inverse of the observed information."""
        return inverse(self.information)


def maximise(
    likelihood: Likelihood,
    x: FloatArray | Design,
    *,
    offset: FloatArray | None = None,
    start: FloatArray | None = None,
    max_steps: int = MAX_STEPS,
) -> Maximum:
    """Fixed effects and shape that maximise the log-likelihood.

    Parameters
    ----------
    max_steps : Newton steps before NotConverged
    x : (n, p) columns, or a design
    offset : (n,), zeros if not given
    start : (p + k,) to start from; zeros and the likelihood's own shape if not given

    Raises
    ------
    NotIdentified
        Columns of x repeat each other.
    NotConverged
        The steps ran out, as they do when an estimate is infinite; `separation.check` says so first.
    """
    x = Columns(x) if isinstance(x, np.ndarray) else x
    p = x.n_columns
    base = np.zeros(likelihood.n_rows) if offset is None else offset
    point = np.concatenate([np.zeros(p), likelihood.start_shape()]) if start is None else start
    value, slope, information = derivatives(likelihood, x, base, point)
    decrement = np.inf
    for done in range(max_steps):
        step = solve(information, slope)
        decrement = float(slope @ step)
        if decrement < DECREMENT * (1.0 + abs(value)):
            return Maximum(point[:p], point[p:], information, value, done)
        point, value, slope, information = _uphill(likelihood, x, base, point, value, step)
    raise NotConverged(
        f"{max_steps} Newton steps, last decrement {decrement:.1e}, wanted {DECREMENT:.0e}; "
        f"largest estimate {np.abs(point).max():.1f}: the answers may be separated"
    )


def _uphill(
    likelihood: Likelihood, x: Design, base: FloatArray, point: FloatArray, value: float, step: FloatArray
) -> tuple[FloatArray, float, FloatArray, FloatArray]:
    slack = 1e-13 * (1.0 + abs(value))
    for _ in range(_HALVINGS):
        tried = point + step
        reached, slope, information = derivatives(likelihood, x, base, tried)
        if reached >= value - slack:
            return tried, reached, slope, information
        step = 0.5 * step
    raise NotConverged(f"no Newton step improves the log-likelihood {value:.6f}")


def derivatives(
    likelihood: Likelihood, x: FloatArray | Design, base: FloatArray, point: FloatArray
) -> tuple[float, FloatArray, FloatArray]:
    """Log-likelihood, gradient and observed information at `point` (beta, then shape).

    Parameters
    ----------
    x : (n, p) array, the fixed columns
    base : (n,) offsets
    """
    x = Columns(x) if isinstance(x, np.ndarray) else x
    p = x.n_columns
    eta = base + x.predictor(point[:p])
    rows = likelihood.rows(eta, point[p:], third=False)
    value = rows.total
    information = x.gram(-rows.d2)
    slope = x.transposed(rows.d1)
    if point.size > p:
        more = likelihood.shape_rows(eta, point[p:])
        mixed = -x.transposed(more.d1_by_shape)
        information = np.block([[information, mixed], [mixed.T, -more.second.sum(axis=0)]])
        slope = np.concatenate([slope, more.by_shape.sum(axis=0)])
    return (value if np.isfinite(value) else -np.inf), slope, information


def solve(information: FloatArray, right: FloatArray) -> FloatArray:
    """information^-1 right, by Cholesky; raises NotIdentified if the information is singular."""
    scale = np.sqrt(np.maximum(np.diag(information), 1e-300))
    factor, fault = lapack.dpotrf(information / np.outer(scale, scale), lower=1)
    if fault or not np.diag(factor).min(initial=1.0) ** 2 > _PIVOT:
        raise NotIdentified(
            "the columns repeat each other (or one is constant where only differences count): "
            "drop one, or combine them"
        )
    if right.size == 0:
        return np.zeros_like(right)
    across = scale if right.ndim == 1 else scale[:, None]
    return np.asarray(lapack.dpotrs(factor, right / across, lower=1)[0]) / across


def inverse(information: FloatArray) -> FloatArray:
    """Inverse of an information matrix, symmetric to the last bit."""
    out = solve(information, np.eye(information.shape[0]))
    return 0.5 * (out + out.T)
