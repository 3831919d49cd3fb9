"""Strength of each condition on one attribute and presentation: it describes, it decides nothing."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.decide import choice_model
from stats import t_interval
from stats.errors import BadData
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates

FloatArray = NDArray[np.float64]

LEVEL = 0.95
ORDER, CELL, STIMULUS = "heard first", "listener x condition", "stimulus"


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
    spread_listeners: float
    """Standard deviation of listeners' own strengths about the panel's."""
    spread_stimuli: float
    """Standard deviation of a stimulus about its condition; 0 where each condition has one."""
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

    Source: Bradley & Terry 1952, Biometrika 39; the random terms are those of one contrast.
    """
    heard = sorted(set(rows["condition_first"]) | set(rows["condition_second"]))
    if len(heard) < 2:
        raise BadData(f"{len(heard)} conditions were compared, wanted at least 2")
    terms, n_stimuli = _terms(rows)
    n_listeners = int(rows["listener"].nunique())
    found = choice_model.fit(
        rows["chosen"].to_numpy(float),
        np.column_stack([np.ones(len(rows)), *_compared(rows, heard[1:])]),
        terms,
        names=(ORDER, *heard[1:]),
    )
    strength, covariance = _centred(found)
    df = _df(rows, n_listeners, n_stimuli - len(heard))
    reach = t_interval.quantile((1 + LEVEL) / 2, df) * np.sqrt(np.diag(covariance))
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
        spread_listeners=found.spread[CELL],
        spread_stimuli=found.spread.get(STIMULUS, 0.0),
        penalised=found.penalised,
        df=df,
        n_answers=len(rows),
        n_listeners=n_listeners,
    )


def _compared(rows: pd.DataFrame, conditions: Sequence[str]) -> list[FloatArray]:
    """A column each: 1 where the condition was heard first, -1 second."""
    first, second = rows["condition_first"].to_numpy(), rows["condition_second"].to_numpy()
    return [(first == name).astype(float) - (second == name) for name in conditions]


def _terms(rows: pd.DataFrame) -> tuple[tuple[RandomTerm, ...], int]:
    """Each listener's own view of each condition, the stimuli where conditions have several; how many."""
    n = len(rows)
    listener = pd.factorize(rows["listener"], sort=True)[0]
    condition = pd.factorize(pd.concat([rows["condition_first"], rows["condition_second"]]), sort=True)[0]
    stimulus = pd.factorize(pd.concat([rows["stimulus_first"], rows["stimulus_second"]]), sort=True)[0]
    n_conditions, n_stimuli = int(condition.max()) + 1, int(stimulus.max()) + 1
    cells = np.tile(listener, 2) * n_conditions + condition
    by_cell = random_terms.pair_term(CELL, cells[:n], cells[n:])
    if n_stimuli == n_conditions:
        return (by_cell,), n_stimuli
    return (by_cell, random_terms.pair_term(STIMULUS, stimulus[:n], stimulus[n:])), n_stimuli


def _df(rows: pd.DataFrame, n_listeners: int, spare_stimuli: int) -> float:
    """The smaller of listeners - sites and stimuli - conditions (of several strikes each)."""
    of_listeners = n_listeners - (int(rows["site"].nunique()) if "site" in rows else 1)
    return float(min(of_listeners, spare_stimuli) if spare_stimuli > 0 else of_listeners)


def _centred(found: MixedEstimates) -> tuple[FloatArray, FloatArray]:
    """Strengths and their covariance, from coefficients against the first condition to a mean of zero."""
    k = found.estimate.size  # order and k - 1 conditions
    to_all = np.vstack([np.zeros(k - 1), np.eye(k - 1)])
    to_all -= to_all.mean(axis=0)
    return to_all @ found.estimate[1:], to_all @ found.covariance[1:, 1:] @ to_all.T


def _counts(rows: pd.DataFrame, name: str) -> tuple[int, float]:
    first, second = rows["condition_first"] == name, rows["condition_second"] == name
    won = rows["chosen"][first].sum() + (1 - rows["chosen"][second]).sum()
    return int((first | second).sum()), float(won)
