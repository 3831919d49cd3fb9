"""Adaptive Gauss-Hermite likelihood of a mixed model with one grouping and up to three effects a level."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import scipy

from stats import threads
from stats.errors import BadData, NotConverged
from stats.fixed.likelihood import FloatArray, Likelihood
from stats.mixed.engine import cholesky, laplace, laplace_fit, laplace_kernels, random_terms
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm

MAX_EFFECTS = 3
MAX_NODES = 50
_GRADIENT_STEP = 1e-3  # of a standard error; the log-likelihood is exact to 1e-12, so slopes to about 1e-8
_CURVATURE_STEP = 1e-2
_GRADIENT = 1e-6  # largest slope left, per standard error


def loglik(
    problem: laplace.Problem,
    beta: FloatArray,
    shape: FloatArray,
    theta: FloatArray,
    start: FloatArray,
    *,
    nodes: int,
) -> tuple[float, laplace.Mode]:
    """Log-likelihood with `nodes` points an effect placed about each level's mode, and those modes.

    One node is Laplace's approximation. Source: Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4(1);
    Liu & Pierce 1994, Biometrika 81.

    Parameters
    ----------
    problem : answers, columns and structure of the model
    beta : (p,) fixed effects
    shape : the likelihood's own parameters
    theta : factors of the random parts, one after another
    start : (q,) random effects to start from
    """
    parts = problem.structure
    mode = laplace.find_mode(problem, beta, shape, theta, start)
    base = problem.offset + problem.x @ beta
    groups = parts.group_start.size - 1
    width = parts.n_block // groups
    points, weights = np.polynomial.hermite_e.hermegauss(nodes)
    grid = np.stack(np.meshgrid(*[points] * width, indexing="ij"), axis=-1).reshape(-1, width)
    mass = np.log(np.stack(np.meshgrid(*[weights] * width, indexing="ij"), axis=-1).reshape(-1, width))
    at_nodes = np.stack([_at_node(problem, mode, shape, base, point) for point in grid])
    at_nodes += (mass.sum(axis=1) + 0.5 * (grid**2).sum(axis=1))[:, None]
    top = at_nodes.max(axis=0)
    total = float((top + np.log(np.exp(at_nodes - top).sum(axis=0))).sum())
    return total - 0.5 * mode.factor.log_det - 0.5 * parts.n_block * np.log(2.0 * np.pi), mode


def _at_node(
    problem: laplace.Problem, mode: laplace.Mode, shape: FloatArray, base: FloatArray, point: FloatArray
) -> FloatArray:
    """Log of the answers' times the unit normal's density (without its constant), (groups,), at one node."""
    parts = problem.structure
    groups = parts.group_start.size - 1
    moved = np.tile(point, groups).reshape(-1, 1)
    laplace_kernels.backward(mode.factor.blocks, moved, parts.group_start, mode.factor.block_start)
    u = mode.u + moved[:, 0]
    eta = laplace_kernels.predict(mode.scaled, parts.column, u, base)
    values = problem.likelihood.values(eta, shape)
    half_square = 0.5 * (u.reshape(groups, -1) ** 2).sum(axis=1)
    return np.asarray(np.bincount(parts.group, values, groups) - half_square)


def refine(
    likelihood: Likelihood,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    found: MixedFit,
    *,
    offset: FloatArray,
    nodes: int,
) -> MixedFit:
    """The fit whose adaptive Gauss-Hermite likelihood is highest, started from the Laplace fit `found`.

    Parameters
    ----------
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    offset : (n,) added to the predictor of each row; 0 if not given

    Raises
    ------
    BadData
        More than one grouping, more than three effects a level, or an impossible number of nodes.
    NotConverged
    """
    if not 1 <= nodes <= MAX_NODES:
        raise BadData(f"{nodes} nodes: wanted 1 (Laplace) to {MAX_NODES}")
    if nodes == 1:
        return found
    structure = random_terms.build(terms)
    sides = np.diff(structure.group_start)
    if structure.n_crossed or sides.max(initial=0) > MAX_EFFECTS or np.unique(sides).size != 1:
        raise BadData(
            f"Gauss-Hermite nodes need one grouping with at most {MAX_EFFECTS} effects a level; "
            "use 1 node (Laplace) for crossed or wider random terms"
        )
    problem = laplace.Problem(likelihood, structure, x, offset)
    with threads.single():
        return _climb(problem, found, nodes)


def _climb(problem: laplace.Problem, found: MixedFit, nodes: int) -> MixedFit:
    p, k = found.beta.size, found.shape.size
    centre = np.concatenate([found.beta, found.shape, found.theta])
    whiten = _whitening(problem, found)
    u = found.mode.u

    def lost(moved: FloatArray) -> float:
        point = centre + whiten @ moved
        try:
            value, _ = loglik(problem, point[:p], point[p : p + k], point[p + k :], u, nodes=nodes)
        except NotConverged:
            return 1e50
        return -value

    def slope(moved: FloatArray) -> FloatArray:
        steps = _GRADIENT_STEP * np.eye(moved.size)
        return np.array([(lost(moved + s) - lost(moved - s)) / (2 * _GRADIENT_STEP) for s in steps])

    best = scipy.optimize.minimize(
        lost, np.zeros(centre.size), jac=slope, method="BFGS", options={"gtol": _GRADIENT}
    )
    left = float(np.abs(slope(best.x)).max(initial=0.0))
    if left > 1e-3:
        raise NotConverged(f"Gauss-Hermite fit: slope {left:.1e} per standard error left, wanted {_GRADIENT}")
    information = _curvature(lost, best.x)
    return _finish(problem, found, centre + whiten @ best.x, whiten, information, left, nodes)


def _whitening(problem: laplace.Problem, found: MixedFit) -> FloatArray:
    """Columns by which unit steps are about one standard error, independent of each other."""
    _, scale = cholesky.start_theta(problem.structure)
    spread = np.sqrt(np.diag(found.theta_covariance))
    fixed = np.linalg.cholesky(found.covariance + 1e-14 * np.eye(found.covariance.shape[0]))
    size = fixed.shape[0] + scale.size
    out = np.zeros((size, size))
    out[: fixed.shape[0], : fixed.shape[0]] = fixed
    rows = np.arange(fixed.shape[0], size)
    out[rows, rows] = np.where(spread > 0.0, spread, scale)
    return out


def _curvature(lost: Callable[[FloatArray], float], at: FloatArray) -> FloatArray:
    """Second derivative by central differences of the value."""
    h, n = _CURVATURE_STEP, at.size
    here = lost(at)
    unit = h * np.eye(n)
    up = np.array([lost(at + e) for e in unit])
    down = np.array([lost(at - e) for e in unit])
    out = np.diag((up + down - 2.0 * here) / h**2)
    for i in range(n):
        for j in range(i):
            both = lost(at + unit[i] + unit[j]) + lost(at - unit[i] - unit[j])
            out[i, j] = out[j, i] = (both - up[i] - up[j] - down[i] - down[j] + 2.0 * here) / (2.0 * h**2)
    return out


def _finish(
    problem: laplace.Problem,
    found: MixedFit,
    point: FloatArray,
    whiten: FloatArray,
    information: FloatArray,
    left: float,
    nodes: int,
) -> MixedFit:
    p, k = found.beta.size, found.shape.size
    theta, on_boundary = cholesky.tidy(problem.structure, point[p + k :])
    value, mode = loglik(problem, point[:p], point[p : p + k], theta, found.mode.u, nodes=nodes)
    covariance = whiten @ laplace_fit.boundary_covariance(information, p + k, on_boundary) @ whiten.T
    return replace(
        found,
        beta=point[:p],
        shape=point[p : p + k],
        theta=theta,
        covariance=covariance[: p + k, : p + k],
        theta_covariance=covariance[p + k :, p + k :],
        loglik=value,
        singular=bool(on_boundary.any()) or cholesky.is_singular(problem.structure, theta),
        gradient=left,
        mode=mode,
    )
