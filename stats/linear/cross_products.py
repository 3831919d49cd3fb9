"""Sums of products of a linear mixed model's columns: made once, after which no step touches the answers."""

from dataclasses import dataclass

import numpy as np

from stats.errors import BadData, NotIdentified
from stats.fixed.likelihood import FloatArray, IntArray
from stats.linear import linear_mixed_kernels as kernels
from stats.mixed.engine.random_terms import Structure

RANK_TOLERANCE = 1e-10  # a fixed column closer than this to the span of those before it repeats them


@dataclass(frozen=True)
class Layout:
    """Where each group's block and edge stand; see stats/linear/linear_mixed_kernels.py."""

    group_start: IntArray
    block_start: IntArray
    edge_start: IntArray
    edge_column_start: IntArray
    edge_column: IntArray

    def all(self) -> tuple[IntArray, IntArray, IntArray, IntArray, IntArray]:
        return (
            self.group_start,
            self.block_start,
            self.edge_start,
            self.edge_column_start,
            self.edge_column,
        )


@dataclass(frozen=True)
class CrossProducts:
    """Z'Z in blocks, Z'[Q y] and [Q y]'[Q y], where X = Q R and y is the least-squares residual.

    Working with Q and the residual keeps all digits when a covariate or the answers stand far from zero.
    """

    structure: Structure
    layout: Layout
    blocks: FloatArray
    edges: FloatArray
    corner: FloatArray
    right: FloatArray
    """(q, p + 1) Z'[Q y]."""
    squares: FloatArray
    """(p + 1, p + 1) [Q y]'[Q y]."""
    triangle: FloatArray
    """(p, p) R."""
    least_squares: FloatArray
    """(p,) coefficients of the plain regression."""
    runs: tuple[IntArray, IntArray, IntArray]
    """(q,) first column and size of the run that shares one factor with each column; where that starts in
    theta."""
    n: int

    @property
    def n_fixed(self) -> int:
        return int(self.triangle.shape[0])

    @property
    def log_det_triangle(self) -> float:
        """Half log determinant of X'X."""
        return float(np.log(np.abs(np.diag(self.triangle))).sum())

    def dense(self) -> FloatArray:
        """(q, q) Z'Z."""
        n_block, layout = self.structure.n_block, self.layout
        out = np.zeros((self.structure.n_columns, self.structure.n_columns))
        for g in range(layout.group_start.size - 1):
            rows = slice(layout.group_start[g], layout.group_start[g + 1])
            side = rows.stop - rows.start
            out[rows, rows] = self.blocks[layout.block_start[g] : layout.block_start[g + 1]].reshape(
                side, side
            )
            listed = (
                layout.edge_column[layout.edge_column_start[g] : layout.edge_column_start[g + 1]] + n_block
            )
            edge = self.edges[layout.edge_start[g] : layout.edge_start[g + 1]].reshape(side, listed.size)
            out[rows, listed] = edge
            out[listed, rows] = edge.T
        out[n_block:, n_block:] = self.corner
        return out


def build(structure: Structure, x: FloatArray, answers: FloatArray, names: tuple[str, ...]) -> CrossProducts:
    """Products of n answers, their (n, p) fixed columns and the random columns of `structure`.

    Parameters
    ----------
    x : (n, p) array, the fixed columns
    names : of the p columns

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
    layout, place = _layout(structure)
    blocks, edges, corner = kernels.gram(
        structure.z,
        structure.column,
        place,
        structure.group,
        layout.group_start,
        layout.block_start,
        layout.edge_start,
        layout.edge_column_start,
        structure.n_crossed,
    )
    return CrossProducts(
        structure=structure,
        layout=layout,
        blocks=blocks,
        edges=edges,
        corner=corner,
        right=kernels.gather(structure.z, structure.column, both, structure.n_columns),
        squares=both.T @ both,
        triangle=triangle,
        least_squares=np.linalg.solve(triangle, gamma),
        runs=_runs(structure),
        n=n,
    )


def scaled(
    products: CrossProducts, theta: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Lambda'Z'Z Lambda + I as blocks, edges and corner, and Lambda'Z'[Q y]."""
    blocks, edges = products.blocks.copy(), products.edges.copy()
    corner, right = products.corner.copy(), products.right.copy()
    structure = products.structure
    kernels.scale_groups(blocks, edges, *products.layout.all(), *products.runs, theta)
    everywhere = np.arange(structure.n_columns)
    crossed = everywhere[structure.n_block :]
    kernels.scale_rows(corner, crossed, *products.runs, theta)
    corner = np.ascontiguousarray(corner.T)
    kernels.scale_rows(corner, crossed, *products.runs, theta)
    corner[np.diag_indices_from(corner)] += 1.0
    kernels.scale_rows(right, everywhere, *products.runs, theta)
    return blocks, edges, corner, right


def _layout(structure: Structure) -> tuple[Layout, IntArray]:
    """The layout, and for each row and position the place of its crossed column in its group's list."""
    n_groups = structure.group_start.size - 1
    crossing = structure.column >= structure.n_block
    width = max(structure.n_crossed, 1)
    keys = structure.group[:, None] * width + np.where(crossing, structure.column - structure.n_block, 0)
    listed = np.unique(keys[crossing])
    column_start = np.searchsorted(listed, np.arange(n_groups + 1) * width)
    place = np.searchsorted(listed, keys) - column_start[structure.group][:, None]
    sides, widths = np.diff(structure.group_start), np.diff(column_start)
    layout = Layout(
        group_start=structure.group_start,
        block_start=_starts(sides**2),
        edge_start=_starts(sides * widths),
        edge_column_start=column_start.astype(np.int64),
        edge_column=(listed % width).astype(np.int64),
    )
    return layout, place.astype(np.int64)


def _starts(sizes: IntArray) -> IntArray:
    return np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)


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
