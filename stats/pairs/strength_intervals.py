"""Intervals for paired-comparison estimates: Wald, profile likelihood, clustered by listener, bootstrap."""

from dataclasses import dataclass

import numpy as np
import scipy

from stats import t_interval
from stats.errors import BadData
from stats.fixed import newton, profile, sandwich
from stats.fixed.likelihood import FloatArray, IntArray
from stats.pairs import bradley_terry, comparisons
from stats.pairs.bradley_terry import PairLink, Strengths, Ties
from stats.pairs.pair_design import Columns
from stats.repeats import resampling
from stats.repeats.refits import Progress


@dataclass(frozen=True)
class Interval:
    """Two-sided interval of each estimate."""

    names: tuple[str, ...]
    lower: FloatArray
    upper: FloatArray
    level: float
    method: str


@dataclass(frozen=True)
class Answers:
    """n single answers of listeners, before they are added up."""

    items: tuple[str, ...]
    listener: IntArray
    """(n,) from 0."""
    first: IntArray
    second: IntArray
    answer: IntArray
    """(n,) 1 first, 0 tie, -1 second."""

    def comparisons(self, rows: IntArray | None = None) -> comparisons.Comparisons:
        """Counts over ordered pairs, of all answers or of these rows (some perhaps twice)."""
        pick = np.arange(self.answer.size) if rows is None else rows
        counts = [(self.answer[pick] == code).astype(float) for code in (1, -1, 0)]
        return comparisons.add_up(self.items, self.first[pick], self.second[pick], *counts)


def wald(found: Strengths, *, level: float = 0.95) -> Interval:
    """Estimate plus and minus a normal quantile of its standard error."""
    half = _quantile(level) * found.se
    return Interval(found.names, found.estimate - half, found.estimate + half, level, "Wald")


def profiled(found: Strengths, name: str, *, level: float = 0.95) -> tuple[float, float]:
    """Profile-likelihood limits of one estimate (not of `log_nu` or `eta`).

    Raises BadData for an unknown name or a penalised fit. Source: Venzon & Moolgavkar 1988.

    Parameters
    ----------
    found : the fit
    level : confidence of the interval, above 0, below 1
    """
    k = found.design.n_columns
    if name not in found.names[:k] or found.penalised:
        raise BadData(f"{name!r}: wanted one of {', '.join(found.names[:k])}, of a fit that is not penalised")
    _, of_row = bradley_terry.likelihood(found.data, found.link, found.ties)
    x = found.design.dense() if of_row is None else found.design.dense()[of_row]
    at = found.names.index(name)
    others = Columns(np.delete(x, at, axis=1))

    def loglik(value: float) -> float:
        return newton.maximise(found.likelihood, others, offset=value * x[:, at]).loglik

    top, se = float(found.estimate[at]), float(found.se[at])
    fall = profile.drop(0.5 + level / 2.0)
    lower, upper = (
        profile.limit(loglik, top=top, top_loglik=found.loglik, fall=fall, step=se, side=side)
        for side in ("lower", "upper")
    )
    return lower, upper


def clustered(found: Strengths, answers: Answers, *, level: float = 0.95) -> Interval:
    """Intervals from listener-clustered errors and a t quantile with listeners - 1 degrees of freedom.

    `found` is the fit of `answers.comparisons()` without covariates. Raises BadData for one listener.

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1
    """
    covariance = clustered_covariance(found, answers)
    groups = np.unique(answers.listener).size
    half = t_interval.quantile(0.5 + level / 2.0, groups - 1) * np.sqrt(np.diag(covariance))
    return Interval(found.names, found.estimate - half, found.estimate + half, level, "clustered")


def clustered_covariance(found: Strengths, answers: Answers) -> FloatArray:
    """Listener-clustered covariance of a fit without covariates.

    Raises
    ------
    BadData
        The fit has covariates.
    """
    if found.reference is None:
        raise BadData("clustered errors here are of free strengths; use sandwich.covariance with covariates")
    counts = [(answers.answer == code).astype(float) for code in (1, 0, -1)]
    single = comparisons.Comparisons(answers.items, answers.first, answers.second, *counts)
    likelihood, of_row = bradley_terry.likelihood(single, found.link, found.ties)
    pick = np.arange(answers.answer.size) if of_row is None else of_row
    entry = {pair: j for j, pair in enumerate(zip(found.data.first, found.data.second, strict=True))}
    rows = np.array([entry[pair] for pair in zip(answers.first, answers.second, strict=True)])
    k = found.design.n_columns
    return sandwich.covariance(
        likelihood,
        found.design.dense()[rows[pick]],
        found.estimate[:k],
        found.estimate[k:],
        newton.inverse(found.covariance),
        answers.listener[pick],
    )


@dataclass(frozen=True)
class _Refit:
    """Fit of drawn listeners, for processes of their own."""

    answers: Answers
    rows_of: tuple[IntArray, ...]
    link: PairLink
    order: bool
    ties: Ties | None
    reference: str

    def __call__(self, listeners: IntArray) -> FloatArray:
        rows = np.concatenate([self.rows_of[one] for one in listeners])
        return bradley_terry.fit(
            self.answers.comparisons(rows),
            link=self.link,
            order=self.order,
            ties=self.ties,
            reference=self.reference,
        ).estimate


def bootstrap(
    found: Strengths,
    answers: Answers,
    *,
    seed: int,
    n_draws: int = 1999,
    level: float = 0.95,
    where: int = 1,
    on_progress: Progress | None = None,
) -> Interval:
    """Percentile intervals when listeners are drawn anew, of a fit without covariates.

    Raises as `resampling.bootstrap` does, e.g. where too many draws cannot be fitted.

    Parameters
    ----------
    found : the fit
    answers : by listener
    seed : of the draws; the same seed gives the same numbers
    n_draws : how many draws, 1 or more
    level : confidence of the interval, above 0, below 1
    on_progress : called with the draws done and all of them
    """
    if found.reference is None:
        raise BadData("the bootstrap over listeners is of free strengths")
    number = np.unique(answers.listener, return_inverse=True)[1]
    rows_of = tuple(np.flatnonzero(number == g) for g in range(int(number.max()) + 1))
    refit = _Refit(answers, rows_of, found.link, "order" in found.names, found.ties, found.reference)
    drawn = resampling.bootstrap(
        refit, len(rows_of), seed=seed, n_draws=n_draws, level=level, where=where, on_progress=on_progress
    )
    return Interval(found.names, drawn.lower, drawn.upper, level, "bootstrap over listeners")


def _quantile(level: float) -> float:
    if not 0.0 < level < 1.0:
        raise BadData(f"level {level}: wanted between 0 and 1")
    return float(scipy.stats.norm.ppf(0.5 + level / 2.0))
