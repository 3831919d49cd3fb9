"""Which measured property goes with the answers: slopes that explain and decide nothing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stats import t_interval
from stats.errors import StatsError
from stats.mixed import logistic_mixed
from stats.mixed.engine import random_terms

FloatArray = NDArray[np.float64]

LEVEL = 0.95
SPARE_CONDITIONS = 3  # conditions beyond the number of slopes: their scatter is what the slopes are judged by
SMALLEST_SPREAD = {"level": 0.3, "brightness": 0.02, "decay": 0.02}  # rms below it: nothing to explain with


@dataclass(frozen=True)
class CovariateFit:
    """Log-odds for one step of one covariate."""

    name: str
    estimate: float
    lower: float
    upper: float
    p: float
    """Two-sided."""


@dataclass(frozen=True)
class Explained:
    """The slopes together, and each with no other beside it."""

    together: tuple[CovariateFit, ...]
    alone: tuple[CovariateFit, ...]
    left_out: tuple[str, ...]
    """Covariates in which the stimuli hardly differ."""
    correlations: dict[str, float]
    """Between the covariates' differences over trials, by `a, b`."""


def fit(rows: pd.DataFrame, covariates: Mapping[str, FloatArray]) -> Explained:
    """Slopes of the answers on what the stimuli differ in; listeners, conditions and stimuli are samples.

    Parameters
    ----------
    rows : study rows of one attribute and presentation
    covariates : (trials,) first minus second of each, as `covariates.differences` gives them

    Raises
    ------
    StatsError
        No covariate varies, or the answers cannot bear the model.
    """
    used = {name: x for name, x in covariates.items() if np.sqrt(np.mean(x**2)) >= SMALLEST_SPREAD[name]}
    if not used:
        raise StatsError("the stimuli hardly differ in level, brightness or decay")
    n_conditions = len(set(rows["condition_first"]) | set(rows["condition_second"]))
    if n_conditions < len(used) + SPARE_CONDITIONS:
        raise StatsError(
            f"{n_conditions} conditions are too few to separate {', '.join(used)}; "
            f"wanted at least {len(used) + SPARE_CONDITIONS}"
        )
    between = np.atleast_2d(np.corrcoef(list(used.values())))
    names = list(used)
    return Explained(
        together=_slopes(rows, used),
        alone=tuple(_slopes(rows, {name: x})[0] for name, x in used.items()),
        left_out=tuple(name for name in covariates if name not in used),
        correlations={
            f"{names[i]}, {names[j]}": float(between[i, j])
            for i in range(len(names))
            for j in range(i + 1, len(names))
        },
    )


def _slopes(rows: pd.DataFrame, covariates: Mapping[str, FloatArray]) -> tuple[CovariateFit, ...]:
    values = np.column_stack(list(covariates.values()))
    conditions = pd.factorize(pd.concat([rows["condition_first"], rows["condition_second"]]), sort=True)[0]
    listener = pd.factorize(rows["listener"], sort=True)[0]
    stimuli = pd.factorize(pd.concat([rows["stimulus_first"], rows["stimulus_second"]]), sort=True)[0]
    n = len(rows)
    found = logistic_mixed.fit(
        rows["chosen"].to_numpy(float),
        np.column_stack([np.ones(n), values]),
        [
            random_terms.term("listener", listener, values, column_names=list(covariates)),
            random_terms.pair_term("condition", conditions[:n], conditions[n:]),
            random_terms.pair_term("stimulus", stimuli[:n], stimuli[n:]),
        ],
        names=["heard first", *covariates],
        restricted=True,
    )
    n_conditions, n_listeners = int(conditions.max()) + 1, int(listener.max()) + 1
    df = float(min(n_listeners - 1, n_conditions - 1 - values.shape[1]))
    return tuple(_one(list(covariates), found.estimate[1:], found.se[1:], df))


def _one(names: Sequence[str], estimate: FloatArray, se: FloatArray, df: float) -> list[CovariateFit]:
    made = []
    for name, value, error in zip(names, map(float, estimate), map(float, se), strict=True):
        lower, upper = t_interval.of(value, error, df, LEVEL)
        p = 2 * t_interval.upper_tail(abs(value) / error, df)
        made.append(CovariateFit(name, value, lower, upper, p))
    return made
