"""How much the data say about the variances of a linear mixed model: what degrees of freedom rest on.

Covariance parameters s_j are the variances and covariances of each term, in the order of its lower
triangle, and
the residual variance last: V = sum_j s_j V_j with V_j = Z E_j Z' or I. Everything is worked out on (q, q)
arrays,
q the number of random effects, by V P V = ... : sigma^2 P P = P - P Z G Z' P, so no array of n by n is made.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.linalg import blas, cholesky, solve_triangular

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray
from stats.linear.linear_mixed import LinearMixed

Q_LARGEST = 4000  # (q, q) arrays above this need more than 128 MB each, and minutes

Pairs = list[tuple[IntArray, IntArray]]
"""The places where E_j is one: over the levels, (row column, column column)."""


@dataclass(frozen=True)
class Components:
    """Sums over V^-1 and P = V^-1 - V^-1 X Phi X' V^-1, with Phi the covariance of the estimates."""

    pairs: tuple[Pairs, ...]
    """One for each covariance parameter but the residual."""
    z_inverse_z: FloatArray
    """(q, q) Z'V^-1 Z."""
    z_inverse_x: FloatArray
    """(q, p) Z'V^-1 X, on the scale of the estimates."""
    z_p_z: FloatArray
    """(q, q) Z'P Z."""
    z_p_y: FloatArray
    """(q,) Z'P y."""
    g: sparse.csr_array
    """(q, q) covariance of the random effects."""
    y_p_y: float
    phi: FloatArray
    x_inverse_x: FloatArray
    sigma2: float
    n: int

    @property
    def n_parameters(self) -> int:
        return len(self.pairs) + 1


def of(model: LinearMixed) -> Components:
    """The components of a fitted model.

    Raises
    ------
    BadData
        More than 4,000 random effects: too large for exact degrees of freedom.
    """
    products, sigma2 = model.products, model.residual**2
    structure = products.structure
    q = structure.n_columns
    if q > Q_LARGEST:
        raise BadData(
            f"{q} random effects are too many for degrees of freedom by Satterthwaite or Kenward and Roger "
            f"(at most {Q_LARGEST}); use the normal distribution, which {products.n} answers allow"
        )
    factor, z_z = _factor(model), sparse.csr_array(products.dense())
    inner = (factor.T @ z_z @ factor).toarray() + np.eye(q)
    # Lambda' from the left of L^-1: a triangular solve, after which only sparse products remain
    half = solve_triangular(cholesky(inner, lower=True), factor.T.toarray(), lower=True)
    z_z_half = half @ z_z
    right_half = half @ products.right
    to_x = products.triangle  # X = Q R: results on Q turn into results on X
    p = products.n_fixed
    m0 = z_z.toarray() - _gram(z_z_half)
    n0 = products.right - z_z_half.T @ right_half
    k0 = products.squares - right_half.T @ right_half
    z_inverse_x = n0[:, :p] @ to_x / sigma2
    x_inverse_x = to_x.T @ k0[:p, :p] @ to_x / sigma2
    gamma = np.linalg.solve(k0[:p, :p], k0[:p, p]) if p else np.zeros(0)
    z_inverse_z = m0 / sigma2
    return Components(
        pairs=tuple(_pairs(model)),
        z_inverse_z=z_inverse_z,
        z_inverse_x=z_inverse_x,
        z_p_z=z_inverse_z - z_inverse_x @ model.covariance @ z_inverse_x.T,
        z_p_y=(n0[:, p] - n0[:, :p] @ gamma) / sigma2,
        g=sparse.csr_array(sigma2 * (factor @ factor.T)),
        y_p_y=float(k0[p, p] - k0[:p, p] @ gamma) / sigma2,
        phi=model.covariance,
        x_inverse_x=x_inverse_x,
        sigma2=sigma2,
        n=products.n,
    )


def information(parts: Components, *, reml: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Gradient of the deviance, its Hessian, and the traces tr(K V_i K V_j), K = P for REML, V^-1 else.

    All in the covariance parameters; shapes (k,), (k, k), (k, k).
    """
    kernel = parts.z_p_z if reml else parts.z_inverse_z
    rank = parts.n - parts.phi.shape[0] if reml else parts.n
    traces = _traces(parts, kernel, rank)
    single = np.array(
        [_sum_pairs(kernel, pair) for pair in parts.pairs]
        + [(rank - _sum_product(parts.g, kernel)) / parts.sigma2]
    )
    v = parts.z_p_y
    v2 = (v - parts.z_p_z @ (parts.g @ v)) / parts.sigma2
    y_pp_y = (parts.y_p_y - v @ (parts.g @ v)) / parts.sigma2
    y_ppp_y = (y_pp_y - v @ (parts.g @ v2)) / parts.sigma2
    turned = [_apply(pair, v) for pair in parts.pairs]
    quadratic = np.array([v @ one for one in turned] + [y_pp_y])
    cubic = np.empty_like(traces)
    for i, left in enumerate(turned):
        for j, right in enumerate(turned):
            cubic[i, j] = left @ parts.z_p_z @ right
        cubic[i, -1] = cubic[-1, i] = v2 @ left
    cubic[-1, -1] = y_ppp_y
    return single - quadratic, 2.0 * cubic - traces, traces


def covariance_slopes(parts: Components) -> FloatArray:
    """(k, p, p) X'V^-1 V_j V^-1 X for each covariance parameter; minus the slope of X'V^-1 X."""
    n = parts.z_inverse_x
    slopes = [n.T @ _apply(pair, n) for pair in parts.pairs]
    return np.array([*slopes, (parts.x_inverse_x - n.T @ (parts.g @ n)) / parts.sigma2])


def covariance_curvatures(parts: Components) -> FloatArray:
    """(k, k, p, p) X'V^-1 V_i V^-1 V_j V^-1 X."""
    k, p = parts.n_parameters, parts.phi.shape[0]
    n = parts.z_inverse_x
    n2 = (n - parts.z_inverse_z @ (parts.g @ n)) / parts.sigma2
    squared = (parts.x_inverse_x - n.T @ (parts.g @ n)) / parts.sigma2
    out = np.empty((k, k, p, p))
    turned = [_apply(pair, n) for pair in parts.pairs]
    for i, left in enumerate(turned):
        for j, right in enumerate(turned):
            out[i, j] = left.T @ parts.z_inverse_z @ right
        out[i, -1] = left.T @ n2
        out[-1, i] = out[i, -1].T
    out[-1, -1] = (squared - n.T @ (parts.g @ n2)) / parts.sigma2
    return out


def _traces(parts: Components, kernel: FloatArray, rank: int) -> FloatArray:
    k = parts.n_parameters
    traces = np.empty((k, k))
    turned = parts.g @ kernel
    single = (rank - _sum_product(parts.g, kernel)) / parts.sigma2
    for i, left in enumerate(parts.pairs):
        for j, right in enumerate(parts.pairs[: i + 1]):
            traces[i, j] = traces[j, i] = sum(
                np.sum(kernel[np.ix_(b, c)] * kernel[np.ix_(a, d)]) for a, b in left for c, d in right
            )
        traces[i, -1] = traces[-1, i] = _sum_squared(kernel, turned, left) / parts.sigma2
    placed = parts.g.tocoo()
    rows, columns = placed.coords
    squared = kernel[rows, columns] - np.einsum("ij,ji->i", kernel[rows], turned[:, columns])
    traces[-1, -1] = (single - placed.data @ squared / parts.sigma2) / parts.sigma2
    return traces


def _sum_pairs(matrix: FloatArray, pair: Pairs) -> float:
    return float(sum(matrix[a, b].sum() for a, b in pair))


def _sum_squared(kernel: FloatArray, turned: FloatArray, pair: Pairs) -> float:
    """Sum over the pair's places of K - K G K, with turned = G K."""
    return float(sum(kernel[a, b].sum() - np.einsum("ij,ji->", kernel[a], turned[:, b]) for a, b in pair))


def _sum_product(g: sparse.csr_array, matrix: FloatArray) -> float:
    return float(g.multiply(matrix).sum())


def _gram(half: FloatArray) -> FloatArray:
    """half' half, by half the multiplications."""
    if half.size == 0:  # no random effects, of which BLAS complains on the terminal
        return np.zeros((half.shape[1], half.shape[1]))
    lower = blas.dsyrk(1.0, half, trans=1, lower=1)
    return np.asarray(np.tril(lower) + np.tril(lower, -1).T)


def _apply(pair: Pairs, right: FloatArray) -> FloatArray:
    """E_j right."""
    out = np.zeros_like(right)
    for a, b in pair:
        out[a] += right[b]
    return out


def _pairs(model: LinearMixed) -> list[Pairs]:
    structure = model.products.structure
    out: list[Pairs] = []
    for number, start, width, _ in structure.parts:
        columns = structure.where[number][:, start : start + width]
        for a in range(width):
            for b in range(a + 1):
                there = (columns[:, a], columns[:, b])
                out.append([there] if a == b else [there, there[::-1]])
    return out


def _factor(model: LinearMixed) -> sparse.csr_array:
    """(q, q) relative factor Lambda."""
    structure = model.products.structure
    rows, columns, values = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)], [np.zeros(0)]
    for number, start, width, at in structure.parts:
        places = structure.where[number][:, start : start + width]
        for a in range(width):
            for b in range(a + 1):
                rows.append(places[:, a])
                columns.append(places[:, b])
                values.append(np.full(places.shape[0], model.theta[at + a * (a + 1) // 2 + b]))
    where = (np.concatenate(rows), np.concatenate(columns))
    q = structure.n_columns
    return sparse.csr_array((np.concatenate(values), where), shape=(q, q))
