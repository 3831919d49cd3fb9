"""Level's part in the strengths, where control pairs tell what a decibel does, with its uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.analysis.decide.level_slope import Slope
from listening.analysis.explain.strengths import Strengths
from stats.errors import StatsError
from stats.measured import meta_regression

FloatArray = NDArray[np.float64]

TOGETHER = "control pairs"  # the only source that shares no answer with the strengths


@dataclass(frozen=True)
class LevelPart:
    """A level slope beside the strengths: m = k + 1 estimates, the slope first."""

    estimate: FloatArray
    """(k + 1,)"""
    covariance: FloatArray
    """(k + 1, k + 1)"""
    weights: FloatArray
    """(k + 1,) the slope used, as a weighted sum of the estimates."""
    whole: FloatArray
    """(k, k + 1) takes the estimates to the strengths."""
    without: FloatArray
    """(k, k + 1) takes the estimates to the strengths less level's part."""

    @property
    def slope(self) -> float:
        """Log-odds per decibel."""
        return float(self.weights @ self.estimate)

    @property
    def slope_se(self) -> float:
        """Its standard error."""
        return float(np.sqrt(self.weights @ self.covariance @ self.weights))


def of(found: Strengths, slope: Slope, level: FloatArray, others: Mapping[str, FloatArray]) -> LevelPart:
    """Level's part, its slope told by control pairs and, as far as they can, by the conditions.

    Parameters
    ----------
    level : (k,) of the conditions, dB or phon, about its mean
    others : (k,) columns of the other properties, which the conditions differ in too

    Notes
    -----
    With the other properties in the model the conditions add what they know of the slope, each source
    weighing as its precision; conditions whose level goes with another property add next to nothing. A slope
    from `both presentations` is used as it is: it shares its answers with the strengths.

    Source: mixed estimation, Theil & Goldberger 1961, Int. Econ. Rev. 2.
    """
    k = level.size
    estimate = np.concatenate([[slope.estimate], found.strength])
    covariance = np.zeros((k + 1, k + 1))
    covariance[0, 0], covariance[1:, 1:] = slope.se**2, found.covariance
    weights = np.eye(1, k + 1)[0]
    if slope.source == TOGETHER:
        weights = _combined(estimate, covariance, np.column_stack([level, *others.values()]), weights)
    whole = np.column_stack([np.zeros(k), np.eye(k)])
    return LevelPart(estimate, covariance, weights, whole, whole - np.outer(level, weights))


def _combined(
    estimate: FloatArray, covariance: FloatArray, columns: FloatArray, alone: FloatArray
) -> FloatArray:
    """(k + 1,) weights of the generalised least-squares slope of level; `alone` where there is none."""
    contrasts, x = design(columns)
    y, v = contrasts.T @ estimate, contrasts.T @ covariance @ contrasts
    scatters = np.arange(y.size) > 0
    try:
        scatter = meta_regression.fit(y, x, v, scatters=scatters, restricted=True).scatter
    except StatsError:
        return alone
    inverse = np.linalg.inv(v + scatter**2 * np.diag(scatters.astype(float)))
    return np.asarray(np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)[0] @ contrasts.T)


def design(columns: FloatArray) -> tuple[FloatArray, FloatArray]:
    """What turns slope and strengths into slope and differences, and their columns, level's the first.

    Parameters
    ----------
    columns : (k, p) properties of the conditions

    Returns
    -------
    (k + 1, k) contrasts; (k, p) columns
    """
    k, p = columns.shape
    contrasts = np.zeros((k + 1, k))
    contrasts[0, 0], contrasts[1:, 1:] = 1.0, meta_regression.contrasts(k)
    return contrasts, np.vstack([np.eye(1, p), contrasts[1:, 1:].T @ columns])
