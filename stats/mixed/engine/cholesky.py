"""The factors of the random effects: lower triangles whose squares are the effects' covariances."""

import numpy as np

from stats.fixed.likelihood import BoolArray, FloatArray
from stats.mixed.engine import laplace
from stats.mixed.engine.random_terms import Structure

SINGULAR = 1e-4  # a standard deviation below this, in predictor units, is zero
START_SPREAD = 0.5  # standard deviation to start from, predictor units


def factor_matrix(theta: FloatArray, size: int, at: int) -> FloatArray:
    """One part's lower-triangular factor as a (size, size) matrix.

    Parameters
    ----------
    theta, at : all factors, and where this one begins
    """
    lower = np.zeros((size, size))
    lower[np.tril_indices(size)] = theta[at : at + size * (size + 1) // 2]
    return lower


def start_theta(structure: Structure) -> tuple[FloatArray, FloatArray]:
    """Factors to start from and their rough standard errors, from the size of the columns they multiply."""
    start, scale = np.zeros(structure.n_theta), np.ones(structure.n_theta)
    for (t, _, size, at), rms in zip(structure.parts, part_rms(structure), strict=True):
        levels = structure.where[t].shape[0]
        for row in range(size):
            here = slice(at + row * (row + 1) // 2, at + (row + 1) * (row + 2) // 2)
            scale[here] = 1.0 / (rms[row] * np.sqrt(2.0 * max(levels, 2)))
            start[at + row * (row + 3) // 2] = START_SPREAD / rms[row]
    return start, scale


def tidy(structure: Structure, theta: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Factors with positive diagonals and exact zeros at the boundary; which entries are on it."""
    theta = theta.copy()
    on_boundary = np.zeros(theta.size, dtype=bool)
    rms = part_rms(structure)
    for (_, _, size, at), root in zip(structure.parts, rms, strict=True):
        lower = factor_matrix(theta, size, at)
        lower = lower * np.where(np.diag(lower) < 0.0, -1.0, 1.0)
        for row in range(size):
            for column in range(row + 1):
                place = at + row * (row + 1) // 2 + column
                theta[place] = lower[row, column]
                if size == 1 and abs(theta[place]) * root[row] < SINGULAR:
                    theta[place], on_boundary[place] = 0.0, True
    return theta, on_boundary


def is_singular(structure: Structure, theta: FloatArray) -> bool:
    """Whether a standard deviation is zero or correlated effects lie in fewer dimensions than they have."""
    for (_, _, size, at), root in zip(structure.parts, part_rms(structure), strict=True):
        scaled = factor_matrix(theta, size, at) * root[:, None]
        if np.linalg.svd(scaled, compute_uv=False).min() < SINGULAR:
            return True
    return False


def largest_spread(structure: Structure, theta: FloatArray) -> float:
    """Largest standard deviation that a random term gives the predictor, in predictor units."""
    sizes = [
        float(np.linalg.norm(factor_matrix(theta, size, at) * root[:, None], axis=1).max())
        for (_, _, size, at), root in zip(structure.parts, part_rms(structure), strict=True)
    ]
    return max(sizes, default=0.0)


def level_effects(
    structure: Structure, theta: FloatArray, mode: laplace.Mode
) -> list[tuple[FloatArray, FloatArray]]:
    """For each part: effects (levels, k) at their mode and their conditional standard deviations.

    A level that no row has is at zero with the part's own standard deviation.

    Parameters
    ----------
    structure : the random parts and their columns
    theta : factors of the random parts, one after another
    """
    pieces = laplace.inverse_pieces(structure, mode.factor)
    out = []
    for t, first, size, at in structure.parts:
        place = structure.where[t][:, first : first + size]
        lower = factor_matrix(theta, size, at)
        u = np.where(place < 0, 0.0, mode.u[place])
        inner = np.tile(np.eye(size), (place.shape[0], 1, 1))
        for level in np.flatnonzero(place[:, 0] >= 0):
            inner[level] = laplace.inverse_block(structure, mode.factor, pieces, place[level])
        variance = np.einsum("ja,lab,jb->lj", lower, inner, lower)
        out.append((u @ lower.T, np.sqrt(np.maximum(variance, 0.0))))
    return out


def part_rms(structure: Structure) -> list[FloatArray]:
    first = {int(t): int(s) for s, t in zip(structure.slots.start, structure.slots.theta, strict=True)}
    return [
        np.sqrt(np.mean(structure.z[:, first[at] : first[at] + size] ** 2, axis=0)) + 1e-12
        for _, _, size, at in structure.parts
    ]


def entry_rms(structure: Structure) -> FloatArray:
    """For each entry of theta, the size of the column that its row multiplies."""
    out = np.zeros(structure.n_theta)
    for (_, _, size, at), root in zip(structure.parts, part_rms(structure), strict=True):
        out[at : at + size * (size + 1) // 2] = root[np.tril_indices(size)[0]]
    return out
