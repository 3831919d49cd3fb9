"""Compiled loops of the Laplace engine: over rows, and over the diagonal blocks of the Hessian.

Sizes: n rows, p positions a row, q columns of which the first n_block stand in blocks, r crossed ones.
Block g is the square of side m = group_start[g+1] - group_start[g], kept flat from block_start[g].
"""

import numpy as np
from numba import njit

from stats.fixed.likelihood import FloatArray, IntArray


@njit(cache=True)
def scale(z: FloatArray, start: IntArray, size: IntArray, where: IntArray, theta: FloatArray) -> FloatArray:
    """Z times the lower-triangular factor, position by position; shape (n, p)."""
    out = np.empty_like(z)
    for s in range(start.size):
        a, k, t = start[s], size[s], where[s]
        for i in range(z.shape[0]):
            if t < 0:
                out[i, a] = z[i, a]
                continue
            for j in range(k):
                total = 0.0
                for m in range(j, k):
                    total += z[i, a + m] * theta[t + m * (m + 1) // 2 + j]
                out[i, a + j] = total
    return out


@njit(cache=True)
def predict(scaled: FloatArray, column: IntArray, u: FloatArray, base: FloatArray) -> FloatArray:
    """base + M u; shape (n,)."""
    out = base.copy()
    for i in range(scaled.shape[0]):
        total = 0.0
        for c in range(scaled.shape[1]):
            total += scaled[i, c] * u[column[i, c]]
        out[i] += total
    return out


@njit(cache=True)
def gather(scaled: FloatArray, column: IntArray, values: FloatArray, q: int) -> FloatArray:
    """M' values; shape (q,)."""
    out = np.zeros(q)
    for i in range(scaled.shape[0]):
        for c in range(scaled.shape[1]):
            out[column[i, c]] += scaled[i, c] * values[i]
    return out


@njit(cache=True)
def gram(
    scaled: FloatArray,
    column: IntArray,
    group: IntArray,
    w: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
    prior: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """diag(prior) + M' diag(w) M as flat blocks, (n_block, r) border and (r, r) corner (lower triangle)."""
    n_block = group_start[-1]
    r = prior.size - n_block
    blocks, border, corner = np.zeros(block_start[-1]), np.zeros((n_block, r)), np.zeros((r, r))
    for i in range(scaled.shape[0]):
        g = group[i]
        first = group_start[g]
        side = group_start[g + 1] - first
        for c in range(scaled.shape[1]):
            a = column[i, c]
            left = w[i] * scaled[i, c]
            for d in range(c + 1):
                b = column[i, d]
                value = left * scaled[i, d]
                if a == b and c != d:
                    value *= 2.0
                high, low = max(a, b), min(a, b)
                if high < n_block:
                    blocks[block_start[g] + (high - first) * side + low - first] += value
                elif low < n_block:
                    border[low, high - n_block] += value
                else:
                    corner[high - n_block, low - n_block] += value
    for g in range(group_start.size - 1):
        side = group_start[g + 1] - group_start[g]
        for a in range(side):
            blocks[block_start[g] + a * side + a] += prior[group_start[g] + a]
    for a in range(r):
        corner[a, a] += prior[n_block + a]
    return blocks, border, corner


@njit(cache=True)
def factor_blocks(blocks: FloatArray, group_start: IntArray, block_start: IntArray) -> float:
    """Turn each block into its Cholesky factor in place; half log determinant, NaN if one is not positive."""
    half = 0.0
    for g in range(group_start.size - 1):
        side = group_start[g + 1] - group_start[g]
        at = block_start[g]
        for a in range(side):
            for b in range(a + 1):
                total = blocks[at + a * side + b]
                for c in range(b):
                    total -= blocks[at + a * side + c] * blocks[at + b * side + c]
                if a == b:
                    if not total > 0.0:
                        return np.nan
                    blocks[at + a * side + a] = np.sqrt(total)
                    half += 0.5 * np.log(total)
                else:
                    blocks[at + a * side + b] = total / blocks[at + b * side + b]
    return half


@njit(cache=True)
def forward(blocks: FloatArray, right: FloatArray, group_start: IntArray, block_start: IntArray) -> None:
    """Solve L x = right in place for every block; right is (n_block, columns)."""
    for g in range(group_start.size - 1):
        first = group_start[g]
        side = group_start[g + 1] - first
        at = block_start[g]
        for a in range(side):
            for b in range(a):
                factor = blocks[at + a * side + b]
                if factor != 0.0:
                    for j in range(right.shape[1]):
                        right[first + a, j] -= factor * right[first + b, j]
            pivot = blocks[at + a * side + a]
            for j in range(right.shape[1]):
                right[first + a, j] /= pivot


@njit(cache=True)
def backward(blocks: FloatArray, right: FloatArray, group_start: IntArray, block_start: IntArray) -> None:
    """Solve L' x = right in place for every block; right is (n_block, columns)."""
    for g in range(group_start.size - 1):
        first = group_start[g]
        side = group_start[g + 1] - first
        at = block_start[g]
        for back in range(side):
            a = side - 1 - back
            for b in range(a + 1, side):
                factor = blocks[at + b * side + a]
                if factor != 0.0:
                    for j in range(right.shape[1]):
                        right[first + a, j] -= factor * right[first + b, j]
            pivot = blocks[at + a * side + a]
            for j in range(right.shape[1]):
                right[first + a, j] /= pivot


@njit(cache=True)
def invert_blocks(
    blocks: FloatArray,
    half: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
) -> FloatArray:
    """Diagonal blocks of the inverse Hessian, flat: D^-1 + half half', with D^-1 from the factors."""
    out = np.zeros(blocks.size)
    r = half.shape[1]
    for g in range(group_start.size - 1):
        first = group_start[g]
        side = group_start[g + 1] - first
        at = block_start[g]
        low = np.zeros((side, side))  # inverse of the factor
        for j in range(side):
            low[j, j] = 1.0 / blocks[at + j * side + j]
            for a in range(j + 1, side):
                total = 0.0
                for b in range(j, a):
                    total += blocks[at + a * side + b] * low[b, j]
                low[a, j] = -total / blocks[at + a * side + a]
        for a in range(side):
            for b in range(a + 1):
                total = 0.0
                for c in range(a, side):
                    total += low[c, a] * low[c, b]
                for c in range(r):
                    total += half[first + a, c] * half[first + b, c]
                out[at + a * side + b] = total
                out[at + b * side + a] = total
    return out


@njit(cache=True)
def leverage(
    scaled: FloatArray,
    column: IntArray,
    group: IntArray,
    inner: FloatArray,
    border: FloatArray,
    corner: FloatArray,
    group_start: IntArray,
    block_start: IntArray,
) -> tuple[FloatArray, FloatArray]:
    """(n, p) places of H^-1 m_i that row i touches, and (n,) m_i' H^-1 m_i, from the inverse's pieces."""
    n, p = scaled.shape
    n_block = group_start[-1]
    v, h = np.zeros((n, p)), np.zeros(n)
    for i in range(n):
        g = group[i]
        first = group_start[g]
        side = group_start[g + 1] - first
        for c in range(p):
            a = column[i, c]
            total = 0.0
            for d in range(p):
                b = column[i, d]
                if a < n_block:
                    if b < n_block:
                        entry = inner[block_start[g] + (a - first) * side + b - first]
                    else:
                        entry = border[a, b - n_block]
                elif b < n_block:
                    entry = border[b, a - n_block]
                else:
                    entry = corner[a - n_block, b - n_block]
                total += entry * scaled[i, d]
            v[i, c] = total
            h[i] += scaled[i, c] * total
    return v, h


@njit(cache=True)
def factor_gradient(
    z: FloatArray,
    column: IntArray,
    start: IntArray,
    size: IntArray,
    where: IntArray,
    u: FloatArray,
    a: FloatArray,
    v: FloatArray,
    w: FloatArray,
    d1: FloatArray,
    t: FloatArray,
    n_theta: int,
) -> FloatArray:
    """Gradient of the Laplace log-likelihood with respect to the factors' entries; see laplace.py."""
    out = np.zeros(n_theta)
    for s in range(start.size):
        at, k, first = start[s], size[s], where[s]
        if first < 0:
            continue
        for m in range(k):
            for j in range(m + 1):
                total = 0.0
                for i in range(z.shape[0]):
                    inner = (d1[i] - 0.5 * t[i]) * u[column[i, at + j]]
                    inner -= 0.5 * d1[i] * a[column[i, at + j]]
                    inner -= w[i] * v[i, at + j]
                    total += z[i, at + m] * inner
                out[first + m * (m + 1) // 2 + j] += total
    return out
