"""Intervals and tests of a logistic mixed model from answers drawn from the fitted model itself."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stats.errors import BadData, StatsError
from stats.fixed import binary
from stats.fixed.likelihood import FloatArray, as_floats
from stats.mixed import logistic_mixed
from stats.mixed.engine import cholesky
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates
from stats.repeats.refits import Progress, run, seeds

FAILED_SHARE = 0.05  # more failed refits than this and the draws no longer stand for the model


@dataclass(frozen=True)
class Interval:
    """Bootstrap-t interval of one fixed effect."""

    estimate: float
    lower: float
    upper: float
    level: float
    n_draws: int
    n_failed: int


@dataclass(frozen=True)
class ZeroTest:
    """Test that one fixed effect is zero, by its t statistic's distribution under the model without it."""

    statistic: float
    p: float
    n_draws: int
    n_failed: int


@dataclass(frozen=True)
class Drawn:
    """What is needed to draw answers from a model and fit them again."""

    x: FloatArray
    terms: tuple[RandomTerm, ...]
    trials: FloatArray
    offset: FloatArray
    column: int
    beta: FloatArray
    theta: FloatArray
    restricted: bool
    zero: float
    """Value of the effect in the model drawn from."""

    def statistic(self, rng: np.random.Generator) -> float:
        """t statistic about the true value on one draw; NaN where the draw cannot be fitted."""
        answers = draw(rng, self.x, self.terms, self.beta, self.theta, trials=self.trials, offset=self.offset)
        try:
            found = logistic_mixed.fit(
                answers,
                self.x,
                self.terms,
                trials=self.trials,
                offset=self.offset,
                restricted=self.restricted,
            )
        except StatsError:
            return float("nan")
        return float((found.estimate[self.column] - self.zero) / found.se[self.column])


def draw(
    rng: np.random.Generator,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    beta: FloatArray,
    theta: FloatArray,
    *,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
) -> FloatArray:
    """(n,) successes drawn from the model with effects `beta` and factors `theta` (`MixedFit.theta`).

    Parameters
    ----------
    rng : where chance comes from
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    trials : (n,) counts of answers behind each row; 1 each if not given
    offset : (n,) added to the predictor of each row; 0 if not given
    """
    eta = x @ beta + (0.0 if offset is None else offset)
    at = 0
    for one in terms:
        k = one.columns.shape[1]
        pieces = [(0, k)] if one.correlated else [(j, 1) for j in range(k)]
        for first, width in pieces:
            lower = cholesky.factor_matrix(theta, width, at)
            effects = rng.normal(size=(one.n_levels, width)) @ lower.T
            part = np.einsum("nsj,nj->ns", effects[one.level], one.columns[:, first : first + width])
            eta = eta + (part * one.weight).sum(axis=1)
            at += width * (width + 1) // 2
    size = np.ones(eta.size, dtype=np.int64) if trials is None else trials.astype(np.int64)
    return as_floats(rng.binomial(size, binary.mean(eta, "logit")))


def interval(
    answers: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    column: int,
    seed: int,
    n_draws: int = 999,
    level: float = 0.95,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
    restricted: bool = True,
    where: int | str = 1,
    on_progress: Progress | None = None,
) -> Interval:
    """Bootstrap-t interval: the t statistic's own quantiles in place of the normal ones.

    Raises BadData for a level outside 0 to 1, StatsError if more than 5 % of the refits fail, and as
    `logistic_mixed.fit` does. Source: Davison & Hinkley 1997, Bootstrap Methods, chapters 5 and 7.

    Parameters
    ----------
    answers : (n,) array: 0 or 1, or counts of successes where `trials` are given
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    column : number of the fixed column, from 0
    seed : of the draws; the same seed gives the same numbers
    n_draws : how many draws, 1 or more
    trials : (n,) counts of answers behind each row; 1 each if not given
    offset : (n,) added to the predictor of each row; 0 if not given
    restricted : whether fixed effects are integrated out for the standard deviations
    where : processes of this machine, or the address of a scheduler
    on_progress : called with the draws done and all of them
    """
    if not 0.0 < level < 1.0:
        raise BadData(f"level {level}: wanted between 0 and 1")
    found = logistic_mixed.fit(answers, x, terms, trials=trials, offset=offset, restricted=restricted)
    drawn = _drawn(found, x, terms, trials, offset, column, restricted, None)
    kept = _statistics(drawn, seed, n_draws, where, on_progress)
    low, high = np.quantile(kept, [(1.0 - level) / 2.0, (1.0 + level) / 2.0])
    value, se = float(found.estimate[column]), float(found.se[column])
    return Interval(value, value - high * se, value - low * se, level, n_draws, n_draws - kept.size)


def zero_test(
    answers: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    column: int,
    seed: int,
    n_draws: int = 999,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
    restricted: bool = True,
    where: int | str = 1,
    on_progress: Progress | None = None,
) -> ZeroTest:
    """Two-sided test that fixed effect `column` is zero, against draws from the fit without it.

    Raises as `interval` does. Source: Davison & Hinkley 1997, chapter 4.

    Parameters
    ----------
    answers : (n,) array: 0 or 1, or counts of successes where `trials` are given
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    seed : of the draws; the same seed gives the same numbers
    n_draws : how many draws, 1 or more
    trials : (n,) counts of answers behind each row; 1 each if not given
    offset : (n,) added to the predictor of each row; 0 if not given
    restricted : whether fixed effects are integrated out for the standard deviations
    where : processes of this machine, or the address of a scheduler
    on_progress : called with the draws done and all of them
    """
    found = logistic_mixed.fit(answers, x, terms, trials=trials, offset=offset, restricted=restricted)
    without = logistic_mixed.fit(
        answers, np.delete(x, column, axis=1), terms, trials=trials, offset=offset, restricted=restricted
    )
    drawn = _drawn(without, x, terms, trials, offset, column, restricted, 0.0)
    kept = _statistics(drawn, seed, n_draws, where, on_progress)
    statistic = float(found.estimate[column] / found.se[column])
    reached = int(np.count_nonzero(np.abs(kept) >= abs(statistic)))
    return ZeroTest(statistic, (reached + 1) / (kept.size + 1), n_draws, n_draws - kept.size)


def _drawn(
    model: MixedEstimates,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    trials: FloatArray | None,
    offset: FloatArray | None,
    column: int,
    restricted: bool,
    held: float | None,
) -> Drawn:
    beta = model.estimate if held is None else np.insert(model.estimate, column, held)
    n = x.shape[0]
    return Drawn(
        x=x,
        terms=tuple(terms),
        trials=np.ones(n) if trials is None else as_floats(trials),
        offset=np.zeros(n) if offset is None else as_floats(offset),
        column=column,
        beta=beta,
        theta=model.fit.theta,
        restricted=restricted,
        zero=float(beta[column]),
    )


def _statistics(
    drawn: Drawn, seed: int, n_draws: int, where: int | str, on_progress: Progress | None
) -> FloatArray:
    values = np.array(run(drawn.statistic, seeds(seed, n_draws), where, on_progress=on_progress))
    kept: FloatArray = values[np.isfinite(values)]
    if kept.size < (1.0 - FAILED_SHARE) * n_draws:
        raise StatsError(
            f"parametric bootstrap: {n_draws - kept.size} of {n_draws} draws could not be fitted, "
            f"at most {100 * FAILED_SHARE:g} % may fail; simplify the model"
        )
    return kept
