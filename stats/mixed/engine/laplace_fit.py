"""Maximum (restricted, penalised) Laplace likelihood of a mixed model with any kind of answer."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from stats import threads
from stats.errors import NotConverged, StatsError
from stats.fixed import newton
from stats.fixed.likelihood import BoolArray, FloatArray, Likelihood
from stats.mixed.engine import cholesky, laplace, random_terms
from stats.mixed.engine.random_terms import RandomTerm, Structure

GRADIENT = 1e-5  # largest slope, per standard error, left before the last Newton step
_DIFFERENCE = 1e-3  # step of the gradient differences, in the same scaled units


@dataclass(frozen=True)
class MixedFit:
    """Where the Laplace likelihood of a mixed model is highest."""

    beta: FloatArray
    shape: FloatArray
    theta: FloatArray
    """Entries of the lower-triangular factors, in the order of the structure's parts."""
    covariance: FloatArray
    """Of beta, then shape: the matching block of the inverse full observed information, theta included."""
    theta_covariance: FloatArray
    """Of theta; zero rows where a standard deviation is on its boundary."""
    loglik: float
    """Laplace log-likelihood; the restricted one where `restricted`."""
    penalty: float
    """What the penalties add to the log-likelihood: Jeffreys on fixed effects, a prior on spreads; else 0."""
    singular: bool
    restricted: bool
    gradient: float
    """Largest scaled gradient at the end."""
    evaluations: int
    structure: Structure
    mode: laplace.Mode


@dataclass
class _Climb:
    """The objective in scaled units, with the last mode kept as the next start."""

    problem: laplace.Problem
    start: FloatArray
    scale: FloatArray
    penalised: bool
    spread_prior: float
    """Scale of a half-normal prior on standard deviations, predictor units; infinite: none."""
    u: FloatArray
    evaluations: int = 0

    def __call__(self, moved: FloatArray) -> tuple[float, FloatArray]:
        try:
            found, value, slope = self.at(self.start + self.scale * moved)
        except NotConverged:
            return 1e50, np.zeros_like(moved)
        self.u = found.u
        return -value, -slope * self.scale

    def at(self, point: FloatArray) -> tuple[laplace.Mode, float, FloatArray]:
        self.evaluations += 1
        beta, shape, theta = self.split(point)
        found = laplace.evaluate(self.problem, beta, shape, theta, self.u)
        value, slope = found.value, found.gradient
        if self.penalised:
            more, by_beta = penalty(self.problem, beta, shape)
            value += more
            slope = slope.copy()
            slope[: beta.size] += by_beta
        if np.isfinite(self.spread_prior):
            rms = cholesky.entry_rms(self.problem.structure) / self.spread_prior
            value -= 0.5 * float(((theta * rms) ** 2).sum())
            slope = np.concatenate([slope[: -theta.size], slope[-theta.size :] - theta * rms**2])
        return found.mode, value, slope

    def split(self, point: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        p = self.problem.x.shape[1]
        k = point.size - self.problem.structure.n_theta
        return point[:p], point[p:k], point[k:]


def penalty(problem: laplace.Problem, beta: FloatArray, shape: FloatArray) -> tuple[float, FloatArray]:
    """Half log determinant of the fixed effects' information (Jeffreys), and its gradient by beta.

    Parameters
    ----------
    problem : answers, columns and structure of the model
    shape : the likelihood's own parameters
    """
    rows = problem.likelihood.rows(problem.offset + problem.x @ beta, shape, third=True)
    information = problem.x.T @ (-rows.d2[:, None] * problem.x)
    inverse = newton.inverse(information)
    h = np.einsum("ij,jk,ik->i", problem.x, inverse, problem.x)
    return 0.5 * float(np.linalg.slogdet(information)[1]), -0.5 * (h * np.asarray(rows.d3)) @ problem.x


def fit(
    likelihood: Likelihood,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    offset: FloatArray,
    start: FloatArray,
    scale: FloatArray,
    restricted: bool = False,
    penalised: bool = False,
    spread_prior: float = np.inf,
) -> MixedFit:
    """Highest point of the Laplace likelihood.

    Parameters
    ----------
    terms : random terms, each of n rows
    x : (n, p)
    offset : (n,)
    start, scale : (p + k,) fixed effects and shape to start from, and their rough standard errors
    restricted : standard deviations maximise the likelihood with the fixed effects integrated out too;
        fixed effects then maximise the plain one given those.
    penalised : add log det(information of the fixed effects) / 2 (Jeffreys), for separated answers
    spread_prior : scale, in predictor units, of a half-normal prior on the standard deviations

    Raises
    ------
    NotConverged
        The gradient could not be brought to zero.
    """
    with threads.single():
        structure = random_terms.build(terms)
        spread, spread_scale = cholesky.start_theta(structure)
        climb = _Climb(
            laplace.Problem(likelihood, structure, x, offset),
            np.concatenate([start, spread]),
            np.concatenate([scale, spread_scale]),
            penalised,
            spread_prior,
            np.zeros(structure.n_columns),
        )
        if restricted:
            return _fit_restricted(climb, terms)
        return _finish(climb, *_climb_to_top(climb), restricted=False)


def _climb_to_top(climb: _Climb) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Scaled optimum, observed information there (scaled), and the gradient left."""
    moved = np.zeros(climb.start.size)
    for _ in range(6):
        found = scipy.optimize.minimize(
            climb, moved, jac=True, method="BFGS", options={"gtol": GRADIENT, "maxiter": 300}
        )
        moved = found.x
        information = _information(climb, moved)
        lifted = _off_saddle(climb, moved, information)
        if lifted is None:
            break
        moved = lifted
    value, slope = climb(moved)
    for _ in range(4):
        step = -np.linalg.solve(_positive(information), slope)
        if np.abs(slope).max(initial=0.0) < 1e-9:
            break
        reached, new_slope = climb(moved + step)
        if not np.abs(new_slope).max(initial=0.0) < np.abs(slope).max(initial=0.0):
            break
        moved, value, slope = moved + step, reached, new_slope
    if np.abs(slope).max(initial=0.0) > 1e-3 * (1.0 + 1e-3 * abs(value)):
        raise NotConverged(
            f"mixed model: largest gradient {np.abs(slope).max():.1e} per standard error after "
            f"{climb.evaluations} evaluations, wanted {GRADIENT:.0e}; drop a random term or rescale columns"
        )
    return moved, information, slope


def _information(climb: _Climb, moved: FloatArray) -> FloatArray:
    """Second derivative of minus the log-likelihood by central differences of its exact gradient."""
    out = _information_rows(climb, moved, moved.size)
    return 0.5 * (out + out.T)


def _information_rows(climb: _Climb, moved: FloatArray, n: int) -> FloatArray:
    """The first n rows of the second derivative."""
    out = np.zeros((n, moved.size))
    climb(moved)
    kept = climb.u
    for j in range(n):
        step = np.zeros(moved.size)
        step[j] = _DIFFERENCE
        climb.u = kept
        up = climb(moved + step)[1]
        climb.u = 2.0 * kept - climb.u  # the mode moves the other way by the same, to first order
        out[j] = (up - climb(moved - step)[1]) / (2.0 * _DIFFERENCE)
    climb.u = kept
    return out


def _off_saddle(climb: _Climb, moved: FloatArray, information: FloatArray) -> FloatArray | None:
    """A point to start again from, if the curvature says that this one is no maximum; else None."""
    values, vectors = np.linalg.eigh(information)
    if values.size == 0 or values[0] > -1e-4:
        return None
    here = climb(moved)[0]
    for length in (3.0, 1.0, 0.3):
        for sign in (1.0, -1.0):
            tried = moved + sign * length * vectors[:, 0]
            if climb(tried)[0] < here:
                return np.asarray(tried)
    return None


def _positive(information: FloatArray) -> FloatArray:
    """The matrix with eigenvalues kept away from zero, for a step that cannot run off."""
    values, vectors = np.linalg.eigh(information)
    floor = 1e-6 * max(1.0, float(np.abs(values).max(initial=0.0)))
    return np.asarray((vectors * np.maximum(values, floor)) @ vectors.T)


def _finish(
    climb: _Climb, moved: FloatArray, information: FloatArray, slope: FloatArray, *, restricted: bool
) -> MixedFit:
    structure = climb.problem.structure
    point = climb.start + climb.scale * moved
    n_fixed = point.size - structure.n_theta
    theta, on_boundary = cholesky.tidy(structure, point[n_fixed:])
    point = np.concatenate([point[:n_fixed], theta])
    mode, value, _ = climb.at(point)
    beta, shape, theta = climb.split(point)
    covariance = boundary_covariance(information, n_fixed, on_boundary)
    covariance = covariance * np.outer(climb.scale, climb.scale)
    return MixedFit(
        beta=beta,
        shape=shape,
        theta=theta,
        covariance=covariance[:n_fixed, :n_fixed],
        theta_covariance=covariance[n_fixed:, n_fixed:],
        loglik=mode.value,
        penalty=value - mode.value,
        singular=bool(on_boundary.any()) or cholesky.is_singular(structure, theta),
        restricted=restricted,
        gradient=float(np.abs(slope).max(initial=0.0)),
        evaluations=climb.evaluations,
        structure=structure,
        mode=mode,
    )


def boundary_covariance(information: FloatArray, n_fixed: int, on_boundary: BoolArray) -> FloatArray:
    """Inverse information without the parameters on their boundary, whose rows stay zero.

    Parameters
    ----------
    n_fixed : parameters that come first and have no boundary
    on_boundary : (parameters,) which lie on it
    """
    keep = np.concatenate([np.arange(n_fixed), n_fixed + np.flatnonzero(~on_boundary)])
    out = np.zeros_like(information)
    out[np.ix_(keep, keep)] = np.linalg.inv(_positive(information[np.ix_(keep, keep)]))
    return out


def _fit_restricted(plain: _Climb, terms: Sequence[RandomTerm]) -> MixedFit:
    """Standard deviations by the restricted likelihood, then fixed effects by the plain one given those."""
    problem = plain.problem
    p = problem.x.shape[1]
    flat = random_terms.build(terms, problem.x)
    u = np.zeros(flat.n_columns)
    u[flat.prior == 0.0] = plain.start[:p]
    outer = _Climb(
        laplace.Problem(problem.likelihood, flat, problem.x[:, :0], problem.offset),
        plain.start[p:],
        plain.scale[p:],
        False,
        plain.spread_prior,
        u,
    )
    spreads = _finish(outer, *_climb_to_top(outer), restricted=True)
    rough = np.sqrt(np.diag(spreads.theta_covariance)) + 1e-9
    plain.start = np.concatenate([spreads.mode.u[flat.prior == 0.0], spreads.shape, spreads.theta])
    plain.scale = np.concatenate([plain.scale[: p + spreads.shape.size], rough])
    return _fixed_given_theta(plain, spreads)


def _fixed_given_theta(climb: _Climb, spreads: MixedFit) -> MixedFit:
    n_theta = spreads.theta.size
    n_fixed = climb.start.size - n_theta
    pad = np.zeros(n_theta)

    def only_fixed(moved: FloatArray) -> tuple[float, FloatArray]:
        value, slope = climb(np.concatenate([moved, pad]))
        return value, slope[:n_fixed]

    found = scipy.optimize.minimize(
        only_fixed, np.zeros(n_fixed), jac=True, method="BFGS", options={"gtol": 1e-7}
    )
    moved = np.concatenate([found.x, pad])
    information = _information_rows(climb, moved, n_fixed)
    square = information[:, :n_fixed]
    inner = np.linalg.inv(_positive(0.5 * (square + square.T)))
    # what the standard deviations' own uncertainty adds: beta follows theta along -I_bb^-1 I_bt
    rough = climb.scale[n_fixed:]
    follows = inner @ information[:, n_fixed:] / rough
    covariance = inner + follows @ spreads.theta_covariance @ follows.T
    mode, _, slope = climb.at(climb.start + climb.scale * moved)
    beta, shape, theta = climb.split(climb.start + climb.scale * moved)
    left = float(np.abs(slope[:n_fixed] * climb.scale[:n_fixed]).max(initial=0.0))
    return MixedFit(
        beta=beta,
        shape=shape,
        theta=theta,
        covariance=covariance * np.outer(climb.scale[:n_fixed], climb.scale[:n_fixed]),
        theta_covariance=spreads.theta_covariance,
        loglik=spreads.loglik,
        penalty=spreads.penalty,  # never penalised by Jeffreys: then there is nothing to restrict
        singular=spreads.singular,
        restricted=True,
        gradient=max(spreads.gradient, left),
        evaluations=spreads.evaluations + climb.evaluations,
        structure=climb.problem.structure,
        mode=mode,
    )


def check_finite_fit(found: MixedFit) -> None:
    """Raise StatsError if a covariance came out impossible, which means our own fault or hopeless data."""
    if not np.isfinite(found.covariance).all():
        raise StatsError("the covariance of the estimates is not finite: too few answers for this model")
