"""How much one decibel of level alone moves the answer to an attribute."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.collect import keyed_answers
from listening.analysis.decide import choice_model
from listening.analysis.explain import stimulus_covariates
from stats import t_interval
from stats.errors import StatsError
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm

FloatArray = NDArray[np.float64]

SAME_SIZE_DB = 0.05  # differences nearer to each other count as one size
LEVEL = 0.95  # coverage of the limits at both of which a verdict beyond level must hold


@dataclass(frozen=True)
class Slope:
    """Log-odds per decibel, with its limits."""

    attribute: str
    source: str
    """`control pairs` or `both presentations`."""
    estimate: float
    se: float
    lower: float
    upper: float
    n_answers: int
    n_listeners: int
    bend: float | None = None
    """What a decibel more of difference changes of the slope; below 0 where level saturates."""
    linearity_p: float | None = None
    """Two-sided, against a slope that is the same at every size of difference; None with one size only."""


def from_answers(table: pd.DataFrame, attribute: str) -> Slope | None:
    """The slope from control pairs or, without them, from pairs heard both as recorded and matched.

    Parameters
    ----------
    table : answers as `collect.frame` gives them, all attributes and roles

    Returns
    -------
    None where neither source bears a slope: then nobody can say what is heard beyond level.
    """
    controls = keyed_answers.select(table, attribute=attribute, role=keyed_answers.CONTROL)
    controls = controls[controls["gain_difference_db"] != 0].reset_index(drop=True)
    if controls["listener"].nunique() >= 2:
        return _fit(controls, attribute, "control pairs", controls["gain_difference_db"].to_numpy(float))
    study = keyed_answers.select(table, attribute=attribute)
    metrics = keyed_answers.level_metrics(table)
    if study["presentation"].nunique() < 2 or study["listener"].nunique() < 2 or not metrics:
        return None
    return _fit(study, attribute, "both presentations", study[f"{metrics[0]}_difference"].to_numpy(float))


def of_metric(slope: Slope | None, metric: str) -> Slope | None:
    """The slope where the metric counts in decibels or phon; a doubling of sones is no decibel."""
    return slope if stimulus_covariates.per(metric) != stimulus_covariates.DOUBLING else None


def _fit(rows: pd.DataFrame, attribute: str, source: str, difference_db: FloatArray) -> Slope | None:
    listener = np.unique(rows["listener"].to_numpy(), return_inverse=True)[1]
    fixed = [np.ones(len(rows)), difference_db]
    terms = [random_terms.term("listener", listener, difference_db)]
    if source == "both presentations":  # the conditions' own strengths, alike in both presentations
        fixed += _strength_columns(rows)
        terms.append(_cell_term(rows, listener))
    found = _model(rows, fixed, terms)
    if found is None:
        return None
    estimate, se = found
    n_listeners = int(listener.max()) + 1
    lower, upper = t_interval.of(estimate, se, n_listeners - 1, LEVEL)
    bend, p = _linearity(rows, fixed, terms, n_listeners - 1)
    return Slope(attribute, source, estimate, se, lower, upper, len(rows), n_listeners, bend, p)


def _model(
    rows: pd.DataFrame, fixed: list[FloatArray], terms: list[RandomTerm], at: int = 1
) -> tuple[float, float] | None:
    """Estimate and standard error of one fixed column; None where the answers cannot bear the model."""
    names = ["heard first", "level", *(f"other {i}" for i in range(len(fixed) - 2))]
    try:
        found = choice_model.fit(rows["chosen"].to_numpy(float), np.column_stack(fixed), terms, names=names)
    except StatsError:
        return None
    return float(found.estimate[at]), float(found.se[at])


def _linearity(
    rows: pd.DataFrame, fixed: list[FloatArray], terms: list[RandomTerm], df: int
) -> tuple[float | None, float | None]:
    """How the slope changes with the size of the difference, and its two-sided p.

    A column difference x (size - mean size) stands beside the difference: nought where one slope holds at
    every size. Nothing is decided by it.

    Source: lack of fit of a straight line by a quadratic term, Draper & Smith 1998, Applied Regression
    Analysis, ch. 2 (from memory); Student's t of listeners - 1 as for the slope itself.
    """
    size = np.abs(fixed[1])
    if size.max() - size.min() <= SAME_SIZE_DB:
        return None, None
    found = _model(rows, [*fixed, fixed[1] * (size - size.mean())], terms, at=len(fixed))
    if found is None or not found[1] > 0:
        return None, None
    bend, se = found
    return bend, 2 * t_interval.upper_tail(abs(bend) / se, df)


def _cell_term(rows: pd.DataFrame, listener: NDArray[np.int64]) -> RandomTerm:
    """Each listener's own view of each condition."""
    n = len(rows)
    condition = pd.factorize(pd.concat([rows["condition_first"], rows["condition_second"]]), sort=True)[0]
    cells = np.tile(listener, 2) * (condition.max() + 1) + condition
    return random_terms.pair_term("listener x condition", cells[:n], cells[n:])


def _strength_columns(rows: pd.DataFrame) -> list[FloatArray]:
    first, second = rows["condition_first"].to_numpy(), rows["condition_second"].to_numpy()
    names = sorted(set(first) | set(second))
    return [(first == name).astype(float) - (second == name) for name in names[1:]]
