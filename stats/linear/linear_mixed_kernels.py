"""Compiled loops of the linear mixed model: over rows once, then over groups.

Columns 0 .. n_block-1 of Z touch one group of rows each and stand group by group; the r others cross
groups. Group g
has a square block of side m, flat from block_start[g], and an edge of m rows by w columns, flat from
edge_start[g]:
only the w crossed columns that its rows touch, listed in edge_column from edge_column_start[g].
"""

import numpy as np
from numba import njit

from stats.fixed.likelihood import FloatArray, IntArray


@njit(cache=True)
def gram(
    z: FloatArray,
    column: IntArray,
    place: IntArray,
    group: IntArray,
    group_start: IntArray,
    block_start: IntArray,
    edge_start: IntArray,
    edge_column_start: IntArray,
    n_crossed: int,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Z'Z as flat blocks, flat edges and the (r, r) corner; place[i, c]: where row i's crossed column is
    listed."""
    n_block = group_start[-1]
    blocks, edges = np.zeros(block_start[-1]), np.zeros(edge_start[-1])
    corner = np.zeros((n_crossed, n_crossed))
    for i in range(z.shape[0]):
        g = group[i]
        first = group_start[g]
        side = group_start[g + 1] - first
        width = edge_column_start[g + 1] - edge_column_start[g]
        for c in range(z.shape[1]):
            a = column[i, c]
            for d in range(z.shape[1]):
                b = column[i, d]
                value = z[i, c] * z[i, d]
                if a < n_block and b < n_block:
                    blocks[block_start[g] + (a - first) * side + b - first] += value
                elif a < n_block:
                    edges[edge_start[g] + (a - first) * width + place[i, d]] += value
                elif b >= n_block:
                    corner[a - n_block, b - n_block] += value
    return blocks, edges, corner


@njit(cache=True)
def gather(z: FloatArray, column: IntArray, values: FloatArray, q: int) -> FloatArray:
    """Z' values; shape (q, columns of values)."""
    out = np.zeros((q, values.shape[1]))
    for i in range(z.shape[0]):
        for c in range(z.shape[1]):
            for j in range(values.shape[1]):
                out[column[i, c], j] += z[i, c] * values[i, j]
    return out


@njit(cache=True)
def scale_rows(
    values: FloatArray,
    columns: IntArray,
    first: IntArray,
    size: IntArray,
    where: IntArray,
    theta: FloatArray,
) -> None:
    """Lambda' times values in place; row a of values belongs to column columns[a] of Z, runs standing
    together."""
    for a in range(columns.size):
        column = columns[a]
        place = column - first[column]
        factor = theta[where[column] + place * (place + 1) // 2 + place]
        for j in range(values.shape[1]):
            values[a, j] *= factor
        for m in range(place + 1, size[column]):
            factor = theta[where[column] + m * (m + 1) // 2 + place]
            for j in range(values.shape[1]):
                values[a, j] += factor * values[a + m - place, j]


@njit(cache=True)
def scale_groups(
    blocks: FloatArray,
    edges: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
    edge_start: IntArray,
    edge_column_start: IntArray,
    edge_column: IntArray,
    first: IntArray,
    size: IntArray,
    where: IntArray,
    theta: FloatArray,
) -> None:
    """Lambda' block Lambda + I and Lambda' edge Lambda in place for every group."""
    n_block = group_start[-1]
    for g in range(group_start.size - 1):
        columns = np.arange(group_start[g], group_start[g + 1])
        side = columns.size
        block = blocks[block_start[g] : block_start[g + 1]].reshape(side, side)
        scale_rows(block, columns, first, size, where, theta)
        turned = block.T.copy()
        scale_rows(turned, columns, first, size, where, theta)
        for a in range(side):
            for b in range(side):
                block[a, b] = turned[a, b]
            block[a, a] += 1.0
        listed = edge_column[edge_column_start[g] : edge_column_start[g + 1]] + n_block
        edge = edges[edge_start[g] : edge_start[g + 1]].reshape(side, listed.size)
        scale_rows(edge, columns, first, size, where, theta)
        across = edge.T.copy()
        scale_rows(across, listed, first, size, where, theta)
        for a in range(side):
            for b in range(listed.size):
                edge[a, b] = across[b, a]


@njit(cache=True)
def eliminate(
    blocks: FloatArray,
    edges: FloatArray,
    corner: FloatArray,
    right: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
    edge_start: IntArray,
    edge_column_start: IntArray,
    edge_column: IntArray,
) -> float:
    """Cholesky factors L of the blocks, L^-1 edge and L^-1 right, the corner's Schur complement; all in
    place.

    Returns the half log determinant of the blocks, NaN if one is not positive.
    """
    n_block = group_start[-1]
    half = 0.0
    for g in range(group_start.size - 1):
        start, stop = group_start[g], group_start[g + 1]
        side = stop - start
        block = blocks[block_start[g] : block_start[g + 1]].reshape(side, side)
        listed = edge_column[edge_column_start[g] : edge_column_start[g + 1]]
        edge = edges[edge_start[g] : edge_start[g + 1]].reshape(side, listed.size)
        for a in range(side):
            for b in range(a):
                total = block[a, b]
                for c in range(b):
                    total -= block[a, c] * block[b, c]
                block[a, b] = total / block[b, b]
            total = block[a, a]
            for c in range(a):
                total -= block[a, c] * block[a, c]
            if not total > 0.0:
                return np.nan
            block[a, a] = np.sqrt(total)
            half += 0.5 * np.log(total)
            for b in range(a):
                for j in range(listed.size):
                    edge[a, j] -= block[a, b] * edge[b, j]
                for j in range(right.shape[1]):
                    right[start + a, j] -= block[a, b] * right[start + b, j]
            for j in range(listed.size):
                edge[a, j] /= block[a, a]
            for j in range(right.shape[1]):
                right[start + a, j] /= block[a, a]
            for i in range(listed.size):
                value = edge[a, i]
                row = listed[i]
                for j in range(i + 1):
                    corner[row, listed[j]] -= value * edge[a, j]
                for j in range(right.shape[1]):
                    right[n_block + row, j] -= value * right[start + a, j]
    return half


@njit(cache=True)
def substitute(
    blocks: FloatArray,
    edges: FloatArray,
    corner_inverse: FloatArray,
    right: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
    edge_start: IntArray,
    edge_column_start: IntArray,
    edge_column: IntArray,
) -> FloatArray:
    """Flat diagonal blocks of the inverse; right, whose crossed rows are solved, becomes the solution in
    place."""
    n_block = group_start[-1]
    inner = np.zeros(blocks.size)
    for g in range(group_start.size - 1):
        start, stop = group_start[g], group_start[g + 1]
        side = stop - start
        block = blocks[block_start[g] : block_start[g + 1]].reshape(side, side)
        out = inner[block_start[g] : block_start[g + 1]].reshape(side, side)
        listed = edge_column[edge_column_start[g] : edge_column_start[g + 1]]
        edge = edges[edge_start[g] : edge_start[g + 1]].reshape(side, listed.size)
        for a in range(side):
            for i in range(listed.size):
                for j in range(right.shape[1]):
                    right[start + a, j] -= edge[a, i] * right[n_block + listed[i], j]
        low = _inverse_factor(block)
        reached = _reached(edge, listed, corner_inverse)
        for j in range(right.shape[1]):
            for a in range(side):
                total = 0.0
                for b in range(a, side):
                    total += low[b, a] * right[start + b, j]
                right[start + a, j] = total
        _sandwich(low, reached, out)
    return inner


@njit(cache=True)
def _inverse_factor(block: FloatArray) -> FloatArray:
    """L^-1 of the factor in the block's lower triangle."""
    low = np.eye(block.shape[0])
    for a in range(block.shape[0]):
        for b in range(a):
            for j in range(b + 1):
                low[a, j] -= block[a, b] * low[b, j]
        for j in range(a + 1):
            low[a, j] /= block[a, a]
    return low


@njit(cache=True)
def _reached(edge: FloatArray, listed: IntArray, corner_inverse: FloatArray) -> FloatArray:
    """I + (L^-1 edge) S^-1 (L^-1 edge)'."""
    side = edge.shape[0]
    out = np.eye(side)
    for a in range(side):
        for i in range(listed.size):
            total = 0.0
            for j in range(listed.size):
                total += corner_inverse[listed[i], listed[j]] * edge[a, j]
            for b in range(a + 1):
                out[a, b] += total * edge[b, i]
        for b in range(a):
            out[b, a] = out[a, b]
    return out


@njit(cache=True)
def _sandwich(low: FloatArray, middle: FloatArray, out: FloatArray) -> None:
    """out = low' middle low for a lower triangle `low`."""
    side = low.shape[0]
    half = np.zeros((side, side))
    for c in range(side):
        for b in range(side):
            for d in range(b, side):
                half[c, b] += middle[c, d] * low[d, b]
    for a in range(side):
        for b in range(a + 1):
            total = 0.0
            for c in range(a, side):
                total += low[c, a] * half[c, b]
            out[a, b] = total
            out[b, a] = total
