"""Replicated discrimination: several answers a listener, listeners who differ.

Two models of how they differ. `fit`: each listener's share of answers not guessed is drawn from a beta
distribution
(the chance-corrected beta-binomial). `fit_d_prime`: each listener's d' is drawn from a normal distribution
(a mixed
model on the scale of hearing). Both give back the plain binomial where listeners do not differ.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy import special

from stats.discrimination.psychometric import Task, task
from stats.errors import BadData
from stats.fixed import tail_areas
from stats.fixed.likelihood import FloatArray, as_floats

N_NODES = 61  # Gauss-Hermite nodes over listeners' d'
STEP = 1e-3  # of the differences behind a standard error and the last steps, whose error is of fourth order
NEWTON_STEPS, LONGEST_STEP = 6, 0.02
FLAT = 1e-6  # log-likelihood units that a limit may lie below the top and still be where it is
NO_SPREAD = 1e-6  # a spread parameter at this is none
MEAN_EDGE = 1e-7  # nearer to 0 or 1 the beta function loses its digits


@dataclass(frozen=True)
class Replicated:
    """Average and spread over listeners, with the tests that belong to them."""

    model: str
    task: str
    mean: float
    """`fit`: mean share of answers not guessed; `fit_d_prime`: mean d'."""
    mean_se: float | None
    """None at a limit."""
    spread: float
    """`fit`: over-dispersion, 0 (none) to 1 (each listener always or never); `fit_d_prime`: standard
    deviation."""
    loglik: float
    """Without binomial coefficients."""
    loglik_binomial: float
    """With all listeners alike."""
    p_spread: float
    """Likelihood-ratio test that listeners do not differ (half chi-square, the spread being on its
    boundary)."""
    p_difference: float
    """Likelihood-ratio test that all guess, against both parameters (mixture of chi-squares)."""
    n_listeners: int
    n_trials: int


def fit(task_name: str, n_correct: ArrayLike, n_trials: ArrayLike) -> Replicated:
    """Chance-corrected beta-binomial of correct answers by listener.

    n_correct, n_trials : (listeners,) counts

    Parameters
    ----------
    task_name : triangle, duo-trio, tetrad, 2-afc, 3-afc ...

    Source: Brockhoff 2003, Food Qual. Prefer. 14, 405-417; Schuckers 2003 for the model without chance
    correction.
    """
    kind = task(task_name)
    right, trials = _check(n_correct, n_trials)

    patterns, times = _patterns(right, trials)

    def loglik(mean: float, spread: float) -> float:
        return float(times @ _beta_logliks(kind, patterns, mean, spread))

    return _fit("beta-binomial", kind, right, trials, loglik, (0.0, 1.0), (NO_SPREAD, 1.0 - NO_SPREAD))


def fit_d_prime(task_name: str, n_correct: ArrayLike, n_trials: ArrayLike) -> Replicated:
    """Mixed model of correct answers by listener: d' normal over listeners, integrated by Gauss-Hermite.

    n_correct, n_trials : (listeners,) counts

    Parameters
    ----------
    task_name : triangle, duo-trio, tetrad, 2-afc, 3-afc ...
    """
    kind = task(task_name)
    right, trials = _check(n_correct, n_trials)
    nodes, weights = np.polynomial.hermite_e.hermegauss(N_NODES)
    log_weights = np.log(weights / weights.sum())

    patterns, times = _patterns(right, trials)
    hits, misses = patterns[:, [0]], patterns[:, [1]] - patterns[:, [0]]

    def loglik(mean: float, spread: float) -> float:
        share = np.clip(kind.share_correct(mean + spread * nodes), 1e-300, 1.0 - 1e-16)
        each = special.xlogy(hits, share) + special.xlog1py(misses, -share)
        return float(times @ special.logsumexp(each + log_weights, axis=1))

    return _fit("d' over listeners", kind, right, trials, loglik, (0.0, 10.0), (NO_SPREAD, 10.0))


def _fit(
    name: str,
    kind: Task,
    right: FloatArray,
    trials: FloatArray,
    loglik: Callable[[float, float], float],
    mean_range: tuple[float, float],
    spread_range: tuple[float, float],
) -> Replicated:
    share = max(float(right.sum() / trials.sum()), kind.guess)
    alike = float(special.xlogy(right.sum(), share) + special.xlog1py((trials - right).sum(), -share))
    guessing = float(right.sum() * math.log(kind.guess) + (trials - right).sum() * math.log1p(-kind.guess))
    plain = (
        kind.share_discriminating(share) if mean_range[1] == 1.0 else min(kind.d_prime(share), mean_range[1])
    )
    starts = [(plain, 0.05), (plain, 0.5), (max(plain, 0.3), 0.3)]
    found = max(
        (_maximise(loglik, start, mean_range, spread_range) for start in starts), key=lambda one: one[2]
    )
    mean, spread, top = found
    if top <= alike + 1e-9:
        mean, spread, top = plain, 0.0, alike
    gain, over_guessing = max(0.0, 2 * (top - alike)), max(0.0, 2 * (top - guessing))
    return Replicated(
        model=name,
        task=kind.name,
        mean=mean,
        mean_se=_mean_se(loglik, mean, max(spread, NO_SPREAD), mean_range, spread_range),
        spread=spread,
        loglik=top,
        loglik_binomial=alike,
        p_spread=0.5 * tail_areas.chi_square_above(gain, 1) if gain > 0 else 1.0,
        p_difference=_mixture_p(over_guessing),
        n_listeners=right.size,
        n_trials=int(trials.sum()),
    )


def _mixture_p(statistic: float) -> float:
    """Upper bound of the boundary distribution: half chi-square on 1, half on 2 degrees of freedom."""
    if statistic <= 0:
        return 1.0
    return 0.5 * tail_areas.chi_square_above(statistic, 1) + 0.5 * tail_areas.chi_square_above(statistic, 2)


def _maximise(
    loglik: Callable[[float, float], float],
    start: tuple[float, float],
    mean_range: tuple[float, float],
    spread_range: tuple[float, float],
) -> tuple[float, float, float]:
    inside = as_floats([np.clip(start[0], *mean_range), np.clip(start[1], *spread_range)])

    def objective(point: FloatArray) -> float:
        return -loglik(float(point[0]), float(point[1]))

    found = scipy.optimize.minimize(
        objective,
        inside,
        method="L-BFGS-B",
        bounds=[mean_range, spread_range],
        options={"ftol": 1e-15, "gtol": 1e-9},
    )
    mean, spread = float(found.x[0]), float(found.x[1])
    for limit in spread_range:  # the way to a limit is flat, and where the search stops on it is chance
        if abs(spread - limit) <= 2 * STEP and loglik(mean, limit) >= loglik(mean, spread) - FLAT:
            spread = limit
    mean, spread = _polished(loglik, mean, spread, (mean_range, spread_range))
    return mean, spread, loglik(mean, spread)


def _polished(
    loglik: Callable[[float, float], float],
    mean: float,
    spread: float,
    ranges: tuple[tuple[float, float], tuple[float, float]],
) -> tuple[float, float]:
    """Newton steps from where the search stopped, in what stands off its limits.

    The search compares values, and those are flat to 1e-8 about the top.
    """
    point = as_floats([mean, spread])
    inside = [low + 2 * STEP < one < high - 2 * STEP for one, (low, high) in zip(point, ranges, strict=True)]
    if not inside[0]:
        return mean, spread
    for _ in range(NEWTON_STEPS):
        slope, bend = _derivatives(loglik, float(point[0]), float(point[1]), with_spread=inside[1])
        if not (np.linalg.eigvalsh(bend) < 0).all():
            break
        step = np.linalg.solve(bend, slope)
        if np.abs(step).max() > LONGEST_STEP:
            break
        point[: step.size] -= step
    return float(point[0]), float(point[1])


def _derivatives(
    loglik: Callable[[float, float], float], mean: float, spread: float, *, with_spread: bool
) -> tuple[FloatArray, FloatArray]:
    """Slope and bend by differences whose error is of fourth order; of the mean alone or of both."""
    units = [(1, 0), (0, 1)] if with_spread else [(1, 0)]

    def along(a: int, b: int) -> tuple[float, float]:
        low2, low, here, up, up2 = (
            loglik(mean + k * a * STEP, spread + k * b * STEP) for k in (-2, -1, 0, 1, 2)
        )
        rise = (low2 - 8 * low + 8 * up - up2) / (12 * STEP)
        return rise, (-low2 + 16 * low - 30 * here + 16 * up - up2) / (12 * STEP**2)

    found = [along(*unit) for unit in units]
    bend = np.diag([second for _, second in found])
    if with_spread:  # along the diagonal the second derivative is the sum of all four entries
        bend[0, 1] = bend[1, 0] = 0.5 * (along(1, 1)[1] - bend[0, 0] - bend[1, 1])
    return as_floats([first for first, _ in found]), bend


def _mean_se(
    loglik: Callable[[float, float], float],
    mean: float,
    spread: float,
    mean_range: tuple[float, float],
    spread_range: tuple[float, float],
) -> float | None:
    """From the differenced information; the spread is held where it stands on its limit."""
    if not mean_range[0] + 2 * STEP < mean < mean_range[1] - 2 * STEP:
        return None
    free = spread_range[0] + 2 * STEP < spread < spread_range[1] - 2 * STEP
    bend = -_derivatives(loglik, mean, spread, with_spread=free)[1]
    curvature = float(bend[0, 0])
    if free and bend[1, 1] > 0:
        curvature -= float(bend[0, 1] ** 2 / bend[1, 1])
    return 1 / math.sqrt(curvature) if curvature > 0 else None


def _patterns(right: FloatArray, trials: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Different (correct, trials) of a listener, (m, 2), and how many listeners have each."""
    patterns, times = np.unique(np.column_stack([right, trials]), axis=0, return_counts=True)
    return as_floats(patterns), as_floats(times)


def _beta_logliks(kind: Task, patterns: FloatArray, mean: float, spread: float) -> FloatArray:
    """(m,) log-likelihood of each pattern, summed over how many of the correct answers were guessed."""
    mean = min(max(mean, MEAN_EDGE), 1 - MEAN_EDGE)
    total = 1 / spread - 1
    a, b = mean * total, (1 - mean) * total
    right, trials = patterns[:, [0]], patterns[:, [1]]
    heard = np.minimum(np.arange(right.max() + 1), right)  # correct answers that were not guessed
    terms = (
        special.gammaln(right + 1)
        - special.gammaln(heard + 1)
        - special.gammaln(right - heard + 1)
        + (right - heard) * math.log(kind.guess)
        + (trials - right) * math.log1p(-kind.guess)
        + special.betaln(a + heard, b + trials - heard)
    )
    terms = np.where(np.arange(right.max() + 1) <= right, terms, -np.inf)
    return np.asarray(special.logsumexp(terms, axis=1) - special.betaln(a, b))


def _check(n_correct: ArrayLike, n_trials: ArrayLike) -> tuple[FloatArray, FloatArray]:
    right, trials = as_floats(n_correct), as_floats(n_trials)
    if right.ndim != 1 or right.shape != trials.shape or right.size < 2:
        raise BadData(
            f"correct {right.shape} and trials {trials.shape}; wanted one count a listener, 2 listeners"
        )
    whole = (right == np.round(right)).all() and (trials == np.round(trials)).all()
    if not (whole and (trials >= 1).all() and (right >= 0).all() and (right <= trials).all()):
        raise BadData("counts must be whole, with 0 <= correct <= trials and at least 1 trial a listener")
    return right, trials
