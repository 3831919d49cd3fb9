"""Strength of each condition on one attribute and presentation: it describes, it decides nothing."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis import contrast
from stats import logistic_mixed, t_interval
from stats.errors import BadData
from stats.logistic_mixed import LogisticMixed

FloatArray = NDArray[np.float64]

LEVEL = 0.95


@dataclass(frozen=True)
class Strengths:
    """Log-odds strengths that sum to zero, with listeners and stimuli taken as samples."""

    conditions: tuple[str, ...]
    strength: FloatArray
    """(k,)"""
    covariance: FloatArray
    """(k, k)"""
    lower: FloatArray
    upper: FloatArray
    n: tuple[int, ...]
    """Trials of each condition."""
    n_chosen: tuple[float, ...]
    order: float
    """Log-odds in favour of the sound heard first."""
    penalised: bool
    """Some condition won or lost every time: a penalty keeps its strength finite."""
    df: float
    n_answers: int
    n_listeners: int


def fit(rows: pd.DataFrame) -> Strengths:
    """Strengths by the Bradley-Terry model with random listener cells and stimuli.

    Parameters
    ----------
    rows : study rows of one attribute and presentation, as `collect.select` gives them

    Raises
    ------
    StatsError
        The answers cannot bear the model.

    Source: Bradley & Terry 1952, Biometrika 39; the random terms are those of the deciding model.
    """
    heard = sorted(set(rows["condition_first"]) | set(rows["condition_second"]))
    if len(heard) < 2:
        raise BadData(f"{len(heard)} conditions were compared, wanted at least 2")
    made = contrast.design(rows, more=heard[1], than=heard[0])
    terms = made.terms if len(heard) == 2 else made.terms[1:]  # cells without one contrast's slope
    found = logistic_mixed.fit(made.chosen, made.fixed, terms, names=made.names, restricted=True)
    strength, covariance = _centred(found)
    reach = t_interval.quantile((1 + LEVEL) / 2, made.df) * np.sqrt(np.diag(covariance))
    counts = [_counts(rows, name) for name in heard]
    return Strengths(
        conditions=tuple(heard),
        strength=strength,
        covariance=covariance,
        lower=strength - reach,
        upper=strength + reach,
        n=tuple(n for n, _ in counts),
        n_chosen=tuple(won for _, won in counts),
        order=float(found.estimate[0]),
        penalised=found.penalised,
        df=made.df,
        n_answers=len(rows),
        n_listeners=len(made.listeners),
    )


def _centred(found: LogisticMixed) -> tuple[FloatArray, FloatArray]:
    """Strengths and their covariance, from coefficients against the first condition to a mean of zero."""
    k = found.estimate.size  # order and k - 1 conditions
    to_all = np.vstack([np.zeros(k - 1), np.eye(k - 1)])
    to_all -= to_all.mean(axis=0)
    return to_all @ found.estimate[1:], to_all @ found.covariance[1:, 1:] @ to_all.T


def _counts(rows: pd.DataFrame, name: str) -> tuple[int, float]:
    first, second = rows["condition_first"] == name, rows["condition_second"] == name
    won = rows["chosen"][first].sum() + (1 - rows["chosen"][second]).sum()
    return int((first | second).sum()), float(won)
