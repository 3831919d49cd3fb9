"""Laplace approximation of a mixed model's log-likelihood, with its exact gradient.

The model: row i has predictor eta_i = offset_i + x_i' beta + z_i' Lambda(theta) u with u ~ N(0, I), and an
answer whose log-density l_i(eta_i; shape) any `stats.likelihood.Likelihood` gives. With u at its mode and
M = Z Lambda, W = -l'', H = I + M' W M, the approximation is

    L(beta, shape, theta) = sum l_i - u'u / 2 - log det(H) / 2.

Its gradient includes the change of log det H through the third derivative of l and through the mode:
h_i = m_i' H^-1 m_i, s = -l''' h, a = H^-1 M' s, t = s - W M a give dL/dbeta = X'(l' - t/2), and so on.
H is solved by blocks: columns that touch one group of rows only (a listener's slopes and cells) are
diagonal blocks; columns that cross groups (stimuli) are left to a dense Schur complement.

With fixed columns passed as `flat` to `random_terms.build`, they are integrated under a flat prior too,
which gives the restricted (REML-like) likelihood of shape and theta; then beta has length 0 here.

Source: Pinheiro & Bates 1995, J. Comput. Graph. Stat. 4(1); Skaug & Fournier 2006, Comput. Stat. Data
Anal. 51 for the gradient through the mode.
"""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from stats.errors import NotConverged
from stats.fixed.likelihood import FloatArray, IntArray, Likelihood, Rows
from stats.mixed.engine import laplace_kernels as kernels
from stats.mixed.engine.random_terms import Structure

MODE_STEPS = 100
_DECREMENT_LAST = 1e-10  # squared Newton decrement after which one more step leaves the mode good to 1e-10
_HALVINGS = 30


@dataclass(frozen=True)
class Problem:
    """One model on one set of answers."""

    likelihood: Likelihood
    structure: Structure
    x: FloatArray
    """(n, p) fixed columns; (n, 0) where they are flat columns of the structure."""
    offset: FloatArray
    """(n,) known part of the predictor."""


@dataclass(frozen=True)
class Factor:
    """H in factored form."""

    blocks: FloatArray
    border_solved: FloatArray
    """D^-1 B, (n_block, r)."""
    corner: FloatArray
    """Lower Cholesky factor of the Schur complement, (r, r)."""
    log_det: float
    block_start: IntArray


@dataclass(frozen=True)
class Mode:
    """The random effects' mode (on the unit scale) and what was computed there."""

    u: FloatArray
    eta: FloatArray
    rows: Rows
    scaled: FloatArray
    factor: Factor
    value: float
    """Laplace log-likelihood."""


@dataclass(frozen=True)
class Evaluation:
    """Laplace log-likelihood at one point, with its gradient in the order beta, shape, theta."""

    value: float
    gradient: FloatArray
    mode: Mode


def evaluate(
    problem: Problem, beta: FloatArray, shape: FloatArray, theta: FloatArray, start: FloatArray
) -> Evaluation:
    """Laplace log-likelihood and its gradient at (beta, shape, theta).

    Parameters
    ----------
    problem : answers, columns and structure of the model
    start : (q,) unit-scale random effects to start the mode from; zeros, or the last mode.

    Raises
    ------
    NotConverged
        The mode was not reached.
    """
    mode = find_mode(problem, beta, shape, theta, start)
    return Evaluation(mode.value, _gradient(problem, shape, theta, mode), mode)


def find_mode(
    problem: Problem, beta: FloatArray, shape: FloatArray, theta: FloatArray, start: FloatArray
) -> Mode:
    """The mode of the random effects given the parameters, by Newton steps, halved where they overshoot.

    Parameters
    ----------
    problem : answers, columns and structure of the model
    beta : (p,) fixed effects
    shape : the likelihood's own parameters
    theta : factors of the random parts, one after another
    start : (q,) random effects to start from

    Raises
    ------
    NotConverged
        Too many steps, or none that improves.
    """
    parts = problem.structure
    scaled = kernels.scale(parts.z, parts.slots.start, parts.slots.size, parts.slots.theta, theta)
    base = problem.offset + problem.x @ beta
    block_start = _block_start(parts)
    u = start
    eta, rows, objective = _at(problem, scaled, base, u, shape)
    if not np.isfinite(objective):
        u = np.zeros_like(start)
        eta, rows, objective = _at(problem, scaled, base, u, shape)
    last = False
    for _ in range(MODE_STEPS):
        factor = _factor(parts, scaled, -rows.d2, block_start)
        if last:
            if rows.d3 is None:
                rows = problem.likelihood.rows(eta, shape, third=True)
            constant = 0.5 * np.log(2.0 * np.pi) * np.count_nonzero(parts.prior == 0.0)
            return Mode(u, eta, rows, scaled, factor, objective - 0.5 * factor.log_det + constant)
        slope = kernels.gather(scaled, parts.column, rows.d1, parts.n_columns) - parts.prior * u
        step = solve(parts, factor, slope)
        decrement = float(slope @ step)
        if decrement < 1e-18:
            last = True
            continue
        for _ in range(_HALVINGS):
            tried = u + step
            eta, rows, reached = _at(problem, scaled, base, tried, shape)
            if reached >= objective - 1e-12 * (1.0 + abs(objective)):
                break
            step = 0.5 * step
        else:
            raise NotConverged(f"mode of the random effects: no step improves, decrement {decrement:.1e}")
        u, objective = tried, reached
        last = decrement < _DECREMENT_LAST
    raise NotConverged(f"mode of the random effects: {MODE_STEPS} steps, last decrement {decrement:.1e}")


def _at(
    problem: Problem, scaled: FloatArray, base: FloatArray, u: FloatArray, shape: FloatArray
) -> tuple[FloatArray, Rows, float]:
    eta = kernels.predict(scaled, problem.structure.column, u, base)
    rows = problem.likelihood.rows(eta, shape, third=False)
    objective = float(rows.total - 0.5 * (problem.structure.prior * u) @ u)
    return eta, rows, objective if np.isfinite(objective) else -np.inf


def _block_start(parts: Structure) -> IntArray:
    sides = np.diff(parts.group_start)
    return np.concatenate([[0], np.cumsum(sides * sides)]).astype(np.int64)


def _factor(parts: Structure, scaled: FloatArray, w: FloatArray, block_start: IntArray) -> Factor:
    blocks, border, corner = kernels.gram(
        scaled, parts.column, parts.group, w, parts.group_start, block_start, parts.prior
    )
    half = kernels.factor_blocks(blocks, parts.group_start, block_start)
    kernels.forward(blocks, border, parts.group_start, block_start)  # L^-1 B
    schur = corner - border.T @ border
    kernels.backward(blocks, border, parts.group_start, block_start)  # D^-1 B
    if parts.n_crossed:
        schur, fault = lapack.dpotrf(schur, lower=1)
        half += np.nan if fault else float(np.log(np.diag(schur)).sum())
    if not np.isfinite(half):
        raise NotConverged("the random effects' curvature is not positive: the predictor ran away")
    return Factor(blocks, border, schur, 2.0 * half, block_start)


def solve(parts: Structure, factor: Factor, right: FloatArray) -> FloatArray:
    """H^-1 right; shape (q,).

    Parameters
    ----------
    parts : the random parts
    factor : the Cholesky factor of H
    """
    n_block = parts.n_block
    top = right[:n_block].reshape(-1, 1).copy()
    kernels.forward(factor.blocks, top, parts.group_start, factor.block_start)
    kernels.backward(factor.blocks, top, parts.group_start, factor.block_start)
    if not parts.n_crossed:
        return top[:, 0]
    low = right[n_block:] - factor.border_solved.T @ right[:n_block]
    low = lapack.dpotrs(factor.corner, low, lower=1)[0]
    return np.concatenate([top[:, 0] - factor.border_solved @ low, low])


def inverse_pieces(parts: Structure, factor: Factor) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The inverse of H where rows touch it: flat diagonal blocks, (n_block, r) border, (r, r) corner."""
    if not parts.n_crossed:
        half = factor.border_solved
        corner = np.zeros((0, 0))
        border = half
    else:
        low = lapack.dtrtri(factor.corner, lower=1)[0]
        half = np.ascontiguousarray(factor.border_solved @ low.T)
        corner = np.ascontiguousarray(low.T @ low)
        border = np.ascontiguousarray(-(half @ low))
    inner = kernels.invert_blocks(factor.blocks, half, parts.group_start, factor.block_start)
    return inner, border, corner


def inverse_block(
    parts: Structure, factor: Factor, pieces: tuple[FloatArray, FloatArray, FloatArray], columns: IntArray
) -> FloatArray:
    """The inverse of H at the columns (k,) of one level, (k, k); they stand in one block or all cross.

    Parameters
    ----------
    parts : the random parts
    factor : the Cholesky factor of H
    pieces : what `inverse` keeps of each block
    """
    inner, _, corner = pieces
    if columns[0] >= parts.n_block:
        low = columns - parts.n_block
        return corner[np.ix_(low, low)]
    g = int(np.searchsorted(parts.group_start, columns[0], side="right")) - 1
    side = parts.group_start[g + 1] - parts.group_start[g]
    local = columns - parts.group_start[g]
    return np.asarray(inner[factor.block_start[g] + local[:, None] * side + local[None, :]])


def _third(rows: Rows) -> FloatArray:
    if rows.d3 is None:
        raise NotConverged("the third derivative was not computed")
    return rows.d3


def _gradient(problem: Problem, shape: FloatArray, theta: FloatArray, mode: Mode) -> FloatArray:
    parts, rows = problem.structure, mode.rows
    inner, border, corner = inverse_pieces(parts, mode.factor)
    v, h = kernels.leverage(
        mode.scaled,
        parts.column,
        parts.group,
        inner,
        border,
        corner,
        parts.group_start,
        mode.factor.block_start,
    )
    s = -_third(rows) * h
    a = solve(parts, mode.factor, kernels.gather(mode.scaled, parts.column, s, parts.n_columns))
    along = kernels.predict(mode.scaled, parts.column, a, np.zeros_like(s))  # M a
    t = s + rows.d2 * along
    by_beta = problem.x.T @ (rows.d1 - 0.5 * t)
    by_theta = kernels.factor_gradient(
        parts.z,
        parts.column,
        parts.slots.start,
        parts.slots.size,
        parts.slots.theta,
        mode.u,
        a,
        v,
        -rows.d2,
        rows.d1,
        t,
        parts.n_theta,
    )
    if shape.size == 0:
        return np.concatenate([by_beta, by_theta])
    more = problem.likelihood.shape_rows(mode.eta, shape)
    by_shape = more.by_shape.sum(axis=0) + 0.5 * h @ more.d2_by_shape - 0.5 * along @ more.d1_by_shape
    return np.concatenate([by_beta, by_shape, by_theta])
