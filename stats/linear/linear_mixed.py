"""Linear mixed model by restricted or plain maximum likelihood, crossed and nested random effects.

Answers y = X beta + Z Lambda(theta) u + e, with e ~ N(0, sigma^2 I) and u ~ N(0, sigma^2 I). With
A = Lambda'Z'Z Lambda + I and V0 = I + Z Lambda Lambda' Z', sigma is profiled out:

    deviance = log|A| [+ log|X'V0^-1 X|] + m (1 + log(2 pi r^2 / m)),  m = n, or n - p for REML,

r^2 the generalised residual sum of squares. Its gradient follows from Lambda'Z'V0^-1 = A^-1 Lambda'Z':
only the
diagonal blocks of A^-1 are needed, so a step costs as much as the levels, not as the answers.

Source: Bates, Maechler, Bolker & Walker 2015, J. Stat. Softw. 67(1), section 3, for the profiled deviance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy.linalg import cho_solve, cholesky, solve_triangular

from stats import threads
from stats.errors import BadData, NotConverged
from stats.fixed.estimates import Estimates
from stats.fixed.likelihood import FloatArray, as_floats
from stats.linear import cross_products
from stats.linear import linear_mixed_kernels as kernels
from stats.linear.cross_products import CrossProducts
from stats.mixed.engine.random_terms import RandomTerm, Structure
from stats.mixed.engine.random_terms import build as build_structure

FLOOR = 1e-6  # smallest diagonal entry of a factor while iterating: keeps it invertible
SINGULAR = 1e-4  # a relative standard deviation below this counts as none
ROUGH_GRADIENT = 3e-3  # where the first search hands over to Newton steps
POLISH_STEP = 1e-4
POLISH_ROUNDS = 30
HALVINGS = 30
DECREMENT_LAST = 1e-7  # promised fall of the deviance; quadratic convergence then leaves theta good to 1e-7

if TYPE_CHECKING:
    pass


@dataclass(frozen=True)
class LinearMixed(Estimates):
    """A fitted linear mixed model; the covariance is given the variances."""

    spread: dict[str, float]
    """Standard deviation of each random effect, by term or term:column."""
    correlation: dict[str, FloatArray]
    """(k, k) of the effects of each correlated term."""
    residual: float
    """Residual standard deviation."""
    loglik: float
    """Of the REML criterion where `reml`."""
    reml: bool
    n: int
    n_parameters: int
    n_levels: dict[str, int]
    blups: dict[str, FloatArray]
    """(levels, k) predicted effects of each term."""
    singular: tuple[str, ...]
    """Random effects whose variance is zero, or whose correlation is perfect."""
    theta: FloatArray
    """Relative factors' entries: lower triangles, row by row, term by term."""
    terms: tuple[RandomTerm, ...]
    products: CrossProducts
    """What degrees of freedom are worked out from."""

    def __str__(self) -> str:
        kind = "REML" if self.reml else "ML"
        head = f"linear mixed model by {kind}, {self.n} answers, log-likelihood {self.loglik:.3f}"
        return self.text(head, {**self.spread, "residual": self.residual})


@dataclass(frozen=True)
class _Step:
    """Everything at one theta."""

    deviance: float
    gradient: FloatArray
    gamma: FloatArray
    """Fixed coefficients on Q, relative to least squares."""
    gamma_covariance: FloatArray
    """Relative to sigma^2."""
    u: FloatArray
    sigma2: float


def fit(
    answers: ArrayLike,
    x: ArrayLike,
    terms: Sequence[RandomTerm],
    *,
    names: Sequence[str] | None = None,
    reml: bool = True,
) -> LinearMixed:
    """Fixed effects, variances and predicted random effects.

    Parameters
    ----------
    reml : whether variances maximise the restricted likelihood
    answers : (n,) array
    x : (n, p) array, p >= 0
        Fixed columns, the intercept among them if wanted.
    terms : random terms (`random_terms.term`), any crossing or nesting; none gives the plain regression
    names : p names, x1, x2 ... if not given

    Raises
    ------
    BadData, NotIdentified, NotConverged
        Shapes or values are wrong; a column repeats others; a term has as many levels as there are
        answers; the
        iteration did not reach its tolerance.
    """
    y, columns, labels = _check(answers, x, terms, names)
    structure = build_structure(list(terms)) if terms else _no_terms(y.size)
    with threads.single():
        products = cross_products.build(structure, columns, y, labels)
        theta = _minimise(products, reml)
        step = _evaluate(products, theta, reml=reml)
    return _result(products, tuple(terms), labels, theta, step, reml)


def _no_terms(n: int) -> Structure:
    return build_structure([], np.zeros((n, 0)))


def _minimise(products: CrossProducts, reml: bool) -> FloatArray:
    start = _start(products.structure)
    if start.size == 0:
        return start
    scale = products.n**0.5  # brings the slopes of small and large data to one size

    def objective(theta: FloatArray) -> tuple[float, FloatArray]:
        step = _evaluate(products, theta, reml=reml)
        return step.deviance / scale, step.gradient / scale

    first_step = np.diag(scale * _first_step(products.structure))
    found = scipy.optimize.minimize(
        objective,
        start,
        jac=True,
        method="BFGS",
        options={"gtol": ROUGH_GRADIENT, "maxiter": 500, "hess_inv0": first_step},
    )
    return _settled(products, _polish(products, np.asarray(found.x), reml), reml)


def _start(structure: Structure) -> FloatArray:
    theta = np.zeros(structure.n_theta)
    theta[_diagonal(structure)] = 1.0
    return theta


def _first_step(structure: Structure) -> FloatArray:
    """Rough inverse curvature of the deviance: 1 / (2 levels) an entry where many answers know each level."""
    size = np.zeros(structure.n_theta)
    for number, _, width, at in structure.parts:
        size[at : at + width * (width + 1) // 2] = 0.5 / structure.where[number].shape[0]
    return size


def _diagonal(structure: Structure) -> list[int]:
    return [at + j * (j + 1) // 2 + j for _, _, width, at in structure.parts for j in range(width)]


def _polish(products: CrossProducts, theta: FloatArray, reml: bool) -> FloatArray:
    """Newton steps with a Hessian of differenced gradients, until one more would change nothing."""
    step = _evaluate(products, theta, reml=reml)
    decrement = np.inf
    for _ in range(POLISH_ROUNDS):
        hessian = np.empty((theta.size, theta.size))
        for j in range(theta.size):
            moved = theta.copy()
            moved[j] += POLISH_STEP
            hessian[:, j] = (_evaluate(products, moved, reml=reml).gradient - step.gradient) / POLISH_STEP
        values, vectors = np.linalg.eigh(0.5 * (hessian + hessian.T))
        values = np.maximum(np.abs(values), 1e-6 * max(1.0, np.abs(values).max()))
        move = vectors @ ((vectors.T @ step.gradient) / values)
        decrement = float(step.gradient @ move)
        reached = _evaluate(products, theta - move, reml=reml)
        for _ in range(HALVINGS):
            if reached.deviance <= step.deviance + 1e-9:
                break
            move = 0.5 * move
            reached = _evaluate(products, theta - move, reml=reml)
        theta, step = theta - move, reached
        if decrement < DECREMENT_LAST:
            return theta
    raise NotConverged(
        f"linear mixed model: the last of {POLISH_ROUNDS} Newton steps promised {decrement:.1e} of deviance, "
        f"wanted below {DECREMENT_LAST:.0e}; simplify the random terms"
    )


def _settled(products: CrossProducts, theta: FloatArray, reml: bool) -> FloatArray:
    """Factors with a positive diagonal, and zero where that is no worse than a tiny entry."""
    theta = theta.copy()
    for _, _, width, at in products.structure.parts:
        for j in range(width):
            column = [at + m * (m + 1) // 2 + j for m in range(j, width)]
            if theta[column[0]] < 0:
                theta[column] *= -1.0
    for place in _diagonal(products.structure):
        if theta[place] < SINGULAR:
            zeroed = theta.copy()
            zeroed[place] = 0.0
            worse = _evaluate(products, zeroed, reml=reml).deviance
            if worse <= _evaluate(products, theta, reml=reml).deviance + 1e-6:
                theta = zeroed
    return theta


def _evaluate(products: CrossProducts, theta: FloatArray, *, reml: bool) -> _Step:
    structure = products.structure
    theta = _lifted(structure, theta)
    log_det, inner, corner, right, solved = _solve(products, theta)
    kernel = products.squares - right.T @ solved  # [Q y]' V0^-1 [Q y]
    p = products.n_fixed
    triangle = cholesky(kernel[:p, :p], lower=True) if p else np.zeros((0, 0))
    gamma = cho_solve((triangle, True), kernel[:p, p]) if p else np.zeros(0)
    inverse = cho_solve((triangle, True), np.eye(p)) if p else np.zeros((0, 0))
    r2 = float(kernel[p, p] - kernel[:p, p] @ gamma)
    m = products.n - p if reml else products.n
    deviance = log_det + m * (1.0 + np.log(2.0 * np.pi * r2 / m))
    if reml:
        deviance += 2.0 * float(np.log(np.diag(triangle)).sum()) + 2.0 * products.log_det_triangle
    u = solved[:, p] - solved[:, :p] @ gamma
    fixed = solved[:, : p if reml else 0]
    half = as_floats(np.linalg.inv(triangle).T[: fixed.shape[1], : fixed.shape[1]])  # half half' = inverse
    gradient = _gradient(products, theta, (inner, corner), (fixed, half, u, m / r2))
    return _Step(deviance, gradient, gamma, inverse, u, r2 / m)


def _lifted(structure: Structure, theta: FloatArray) -> FloatArray:
    lifted = theta.copy()
    for place in _diagonal(structure):
        if abs(lifted[place]) < FLOOR:
            lifted[place] = FLOOR if lifted[place] >= 0 else -FLOOR
    return lifted


def _solve(
    products: CrossProducts, theta: FloatArray
) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray]:
    """log|A|, diagonal blocks (flat) and crossed corner of A^-1, Lambda'Z'[Q y] and A^-1 times it."""
    n_block, layout = products.structure.n_block, products.layout.all()
    blocks, edges, corner, right = cross_products.scaled(products, theta)
    solved = right.copy()
    half_log = kernels.eliminate(blocks, edges, corner, solved, *layout)
    if products.structure.n_crossed:
        factor = cholesky(corner, lower=True, check_finite=False)
        half_log += float(np.log(np.diag(factor)).sum())
        lowest = solve_triangular(factor, np.eye(factor.shape[0]), lower=True, check_finite=False)
        corner = lowest.T @ lowest
        solved[n_block:] = corner @ solved[n_block:]
    inner = kernels.substitute(blocks, edges, corner, solved, *layout)
    return 2.0 * half_log, inner, corner, right, solved


def _gradient(
    products: CrossProducts,
    theta: FloatArray,
    inverse: tuple[FloatArray, FloatArray],
    along: tuple[FloatArray, FloatArray, FloatArray, float],
) -> FloatArray:
    """2 tril(T^-T (levels I - sum of A^-1 blocks - sum of fitted squares)) for each factor T."""
    structure = products.structure
    fixed, fixed_half, u, weight = along
    out = np.zeros(structure.n_theta)
    for number, start, width, at in structure.parts:
        columns = structure.where[number][:, start : start + width]
        inner = _level_blocks(products, columns, *inverse)
        reached = fixed[columns]  # (levels, width, p)
        halves = reached @ fixed_half
        squares = np.tensordot(halves, halves, axes=((0, 2), (0, 2))) + weight * u[columns].T @ u[columns]
        entries = np.tril_indices(width)
        factor = np.zeros((width, width))
        factor[entries] = theta[at : at + len(entries[0])]
        core = columns.shape[0] * np.eye(width) - inner - squares
        out[at : at + len(entries[0])] = 2.0 * solve_triangular(factor, core, trans="T", lower=True)[entries]
    return out


def _level_blocks(
    products: CrossProducts, columns: np.ndarray, inner: FloatArray, corner: FloatArray
) -> FloatArray:
    """Sum over levels of the (k, k) diagonal blocks of A^-1."""
    structure = products.structure
    inside = columns[:, 0] < structure.n_block
    total = np.zeros((columns.shape[1], columns.shape[1]))
    crossed = columns[~inside] - structure.n_block
    group = np.searchsorted(structure.group_start, columns[inside, 0], side="right") - 1
    side = structure.group_start[group + 1] - structure.group_start[group]
    place = columns[inside] - structure.group_start[group][:, None]
    for a in range(columns.shape[1]):
        for b in range(columns.shape[1]):
            total[a, b] = inner[products.layout.block_start[group] + place[:, a] * side + place[:, b]].sum()
            total[a, b] += corner[crossed[:, a], crossed[:, b]].sum()
    return total


def _result(
    products: CrossProducts,
    terms: tuple[RandomTerm, ...],
    names: tuple[str, ...],
    theta: FloatArray,
    step: _Step,
    reml: bool,
) -> LinearMixed:
    back = np.linalg.inv(products.triangle)
    sigma = float(np.sqrt(step.sigma2))
    spread: dict[str, float] = {}
    correlation: dict[str, FloatArray] = {}
    blups: dict[str, FloatArray] = {}
    singular: list[str] = []
    for number, start, width, at in products.structure.parts:
        one = terms[number]
        factor = np.zeros((width, width))
        factor[np.tril_indices(width)] = theta[at : at + width * (width + 1) // 2]
        sd = np.sqrt((factor**2).sum(axis=1))
        labels = one.spread_names()[start : start + width]
        spread.update(zip(labels, map(float, sigma * sd), strict=True))
        singular += [label for label, entry in zip(labels, np.diag(factor), strict=True) if entry < SINGULAR]
        if width > 1:
            safe = np.where(sd > 0, sd, 1.0)
            correlation[one.name] = factor @ factor.T / np.outer(safe, safe)
        effects = step.u[products.structure.where[number][:, start : start + width]] @ factor.T
        blups[one.name] = np.hstack([blups[one.name], effects]) if one.name in blups else effects
    return LinearMixed(
        names=names,
        estimate=products.least_squares + back @ step.gamma,
        covariance=step.sigma2 * back @ step.gamma_covariance @ back.T,
        spread=spread,
        correlation=correlation,
        residual=sigma,
        loglik=-0.5 * step.deviance,
        reml=reml,
        n=products.n,
        n_parameters=len(names) + theta.size + 1,
        n_levels={one.name: one.n_levels for one in terms},
        blups=blups,
        singular=tuple(singular),
        theta=theta,
        terms=terms,
        products=products,
    )


def _check(
    answers: ArrayLike, x: ArrayLike, terms: Sequence[RandomTerm], names: Sequence[str] | None
) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    y, columns = as_floats(answers), as_floats(x)
    if y.ndim != 1 or columns.ndim != 2 or columns.shape[0] != y.size or y.size == 0:
        raise BadData(
            f"answers {y.shape} and fixed columns {columns.shape} do not fit; wanted (n,) and (n, p)"
        )
    if not (np.isfinite(y).all() and np.isfinite(columns).all()):
        raise BadData("answers and fixed columns must be finite; leave incomplete rows out")
    labels = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(columns.shape[1]))
    if len(labels) != columns.shape[1] or len(set(labels)) != len(labels):
        raise BadData(
            f"{len(labels)} names for {columns.shape[1]} fixed columns; wanted as many, all different"
        )
    for one in terms:
        if one.level.shape[0] != y.size:
            raise BadData(f"random term {one.name!r} has {one.level.shape[0]} rows, the answers {y.size}")
        if one.n_levels >= y.size:
            raise BadData(
                f"random term {one.name!r} has {one.n_levels} levels for {y.size} answers; its spread cannot "
                "be told from the residual"
            )
    if len({label for one in terms for label in one.spread_names()}) < sum(
        len(t.column_names) for t in terms
    ):
        raise BadData("two random terms have the same name")
    return y, columns, labels
