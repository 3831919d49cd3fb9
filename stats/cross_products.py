"""Sums of products of a linear mixed model's columns: made once, after which no step touches the answers."""

from dataclasses import dataclass

import numpy as np
from numba import njit

from stats import laplace_kernels as kernels
from stats.errors import BadData, NotIdentified
from stats.likelihood import FloatArray, IntArray
from stats.random_terms import Structure

RANK_TOLERANCE = 1e-10  # a fixed column closer than this to the span of those before it repeats them


@dataclass(frozen=True)
class CrossProducts:
    """Z'Z in blocks, Z'[Q y] and [Q y]'[Q y], where X = Q R and y is the least-squares residual.

    Working with Q and the residual keeps all digits when a covariate or the answers stand far from zero.
    """

    structure: Structure
    block_start: IntArray
    blocks: FloatArray
    border: FloatArray
    corner: FloatArray
    right: FloatArray
    """(q, p + 1) Z'[Q y]."""
    squares: FloatArray
    """(p + 1, p + 1) [Q y]'[Q y]."""
    triangle: FloatArray
    """(p, p) R."""
    least_squares: FloatArray
    """(p,) coefficients of the plain regression."""
    run_first: IntArray
    """(q,) first column of the run that shares one factor with each column."""
    run_size: IntArray
    run_theta: IntArray
    n: int

    @property
    def n_fixed(self) -> int:
        return self.triangle.shape[0]

    @property
    def log_det_triangle(self) -> float:
        """Half log determinant of X'X."""
        return float(np.log(np.abs(np.diag(self.triangle))).sum())


def build(structure: Structure, x: FloatArray, answers: FloatArray, names: tuple[str, ...]) -> CrossProducts:
    """Products of n answers, their (n, p) fixed columns and the random columns of `structure`.

    Raises
    ------
    BadData
        Fewer answers than fixed columns plus one.
    NotIdentified
        A fixed column repeats the others; named.
    """
    n, p = x.shape
    if n <= p:
        raise BadData(f"{n} answers cannot bear {p} fixed effects and a residual; wanted at least {p + 1}")
    q, triangle = np.linalg.qr(x)
    _check_rank(triangle, x, names)
    gamma = q.T @ answers
    residual = answers - q @ gamma
    both = np.column_stack([q, residual])
    block_start = np.concatenate([[0], np.cumsum(np.diff(structure.group_start) ** 2)]).astype(np.int64)
    blocks, border, corner = kernels.gram(
        structure.z,
        structure.column,
        structure.group,
        np.ones(n),
        structure.group_start,
        block_start,
        np.zeros(structure.n_columns),
    )
    _mirror_blocks(blocks, structure.group_start, block_start)
    first, size, theta = _runs(structure)
    return CrossProducts(
        structure=structure,
        block_start=block_start,
        blocks=blocks,
        border=border,
        corner=np.tril(corner) + np.tril(corner, -1).T,
        right=_gather_all(structure.z, structure.column, both, structure.n_columns),
        squares=both.T @ both,
        triangle=triangle,
        least_squares=np.linalg.solve(triangle, gamma),
        run_first=first,
        run_size=size,
        run_theta=theta,
        n=n,
    )


def _check_rank(triangle: FloatArray, x: FloatArray, names: tuple[str, ...]) -> None:
    length = np.linalg.norm(x, axis=0)
    repeated = np.abs(np.diag(triangle)) <= RANK_TOLERANCE * np.where(length > 0, length, 1.0)
    if repeated.any():
        bad = ", ".join(np.array(names)[repeated])
        raise NotIdentified(f"fixed effects {bad} repeat the ones before them; leave them out")


def _runs(structure: Structure) -> tuple[IntArray, IntArray, IntArray]:
    q = structure.n_columns
    first, size, theta = np.arange(q), np.ones(q, dtype=np.int64), np.full(q, -1)
    for number, start, width, at in structure.parts:
        columns = structure.where[number][:, start : start + width]
        first[columns] = columns[:, [0]]
        size[columns] = width
        theta[columns] = at
    return first.astype(np.int64), size, theta.astype(np.int64)


def scaled(
    products: CrossProducts, theta: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Lambda'Z'Z Lambda + I as blocks, border and corner, and Lambda'Z'[Q y]."""
    blocks, border = products.blocks.copy(), products.border.copy()
    corner, right = products.corner.copy(), products.right.copy()
    runs = (products.run_first, products.run_size, products.run_theta)
    structure = products.structure
    n_block = structure.n_block
    _scale_blocks(blocks, structure.group_start, products.block_start, *runs, theta)
    _scale_rows(border, 0, n_block, *runs, theta)
    crossed = np.ascontiguousarray(border.T)
    _scale_rows(crossed, n_block, structure.n_columns, *runs, theta)
    _scale_rows(corner, n_block, structure.n_columns, *runs, theta)
    corner = np.ascontiguousarray(corner.T)
    _scale_rows(corner, n_block, structure.n_columns, *runs, theta)
    corner[np.diag_indices_from(corner)] += 1.0
    _scale_rows(right, 0, structure.n_columns, *runs, theta)
    return blocks, np.ascontiguousarray(crossed.T), corner, right


@njit(cache=True)
def _gather_all(z: FloatArray, column: IntArray, values: FloatArray, q: int) -> FloatArray:
    out = np.zeros((q, values.shape[1]))
    for i in range(z.shape[0]):
        for c in range(z.shape[1]):
            for j in range(values.shape[1]):
                out[column[i, c], j] += z[i, c] * values[i, j]
    return out


@njit(cache=True)
def _mirror_blocks(blocks: FloatArray, group_start: IntArray, block_start: IntArray) -> None:
    for g in range(group_start.size - 1):
        side = group_start[g + 1] - group_start[g]
        for a in range(side):
            for b in range(a):
                blocks[block_start[g] + b * side + a] = blocks[block_start[g] + a * side + b]


@njit(cache=True)
def _scale_rows(
    values: FloatArray,
    start: int,
    stop: int,
    first: IntArray,
    size: IntArray,
    where: IntArray,
    theta: FloatArray,
) -> None:
    """Lambda' times values in place; row i of values belongs to column start + i of Z."""
    for a in range(start, stop):
        place = a - first[a]
        factor = theta[where[a] + place * (place + 1) // 2 + place]
        for j in range(values.shape[1]):
            values[a - start, j] *= factor
        for m in range(place + 1, size[a]):
            factor = theta[where[a] + m * (m + 1) // 2 + place]
            for j in range(values.shape[1]):
                values[a - start, j] += factor * values[first[a] + m - start, j]


@njit(cache=True)
def _scale_blocks(
    blocks: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
    first: IntArray,
    size: IntArray,
    where: IntArray,
    theta: FloatArray,
) -> None:
    """Lambda' block Lambda + I in place for every block."""
    for g in range(group_start.size - 1):
        start, stop = group_start[g], group_start[g + 1]
        side = stop - start
        block = blocks[block_start[g] : block_start[g + 1]].reshape(side, side)
        _scale_rows(block, start, stop, first, size, where, theta)
        turned = block.T.copy()
        _scale_rows(turned, start, stop, first, size, where, theta)
        for a in range(side):
            for b in range(side):
                block[a, b] = turned[a, b]
            block[a, a] += 1.0
