"""What a regression says of a point it has not seen: errors left out, two models compared, a new point."""

import math
from dataclasses import dataclass

import numpy as np

from stats import t_interval
from stats.errors import BadData, NotIdentified
from stats.fixed.likelihood import FloatArray, as_floats


@dataclass(frozen=True)
class Compared:
    """How much larger the mean squared error of one model is than that of another."""

    estimate: float
    lower: float
    upper: float
    level: float


@dataclass(frozen=True)
class Predicted:
    """A new point of a regression."""

    estimate: float
    se: float
    """Of a new truth about the line: what the line itself is worth and how points scatter about it."""
    weights: FloatArray
    """(n,) the prediction as a weighted sum of the points."""
    scatter: float
    """Standard deviation of the points about the line."""
    df: int


def errors(columns: FloatArray, y: FloatArray) -> FloatArray:
    """(n,) each point less its prediction by the least-squares fit of all others, constant included.

    Parameters
    ----------
    columns : (n, p), p may be 0: the mean of the others then predicts

    Raises
    ------
    NotIdentified
        A column repeats the others, also where one point is left out.

    Source: Allen 1974, Technometrics 16(1): residual / (1 - leverage).
    """
    x, y = _design(columns), as_floats(y)
    hat = x @ np.linalg.pinv(x)
    free = 1 - np.diag(hat)
    if np.linalg.matrix_rank(x) < x.shape[1] or free.min() < 1e-10:
        raise NotIdentified("left out: without one of the points the slopes cannot be told apart")
    return np.asarray((y - hat @ y) / free)


def compare(one: FloatArray, other: FloatArray, *, level: float = 0.95) -> Compared:
    """Mean of one^2 - other^2 over points that both models predicted unseen, with its interval.

    Parameters
    ----------
    level : confidence of the interval, above 0, below 1
    one, other : (n,) errors left out, of the same points in the same order

    Raises
    ------
    BadData
        Not the same number, or fewer than 3.

    Notes
    -----
    Fits that share all points but one are not independent; the variance of the mean is taken as
    s^2 (1/n + 1/(n - 1)), the second part for the share of points tested to points fitted.

    Source: Nadeau & Bengio 2003, Machine Learning 52, section 3 (corrected resampled t).
    """
    one, other = as_floats(one), as_floats(other)
    n = one.size
    if other.size != n or n < 3:
        raise BadData(f"compare: {n} and {other.size} errors; wanted the same number, at least 3")
    gap = one**2 - other**2
    se = float(gap.std(ddof=1)) * math.sqrt(1 / n + 1 / (n - 1))
    lower, upper = t_interval.of(float(gap.mean()), se, n - 1, level)
    return Compared(float(gap.mean()), lower, upper, level)


def predict(columns: FloatArray, y: FloatArray, at: FloatArray) -> Predicted:
    """A new point of the least-squares fit, constant included.

    Parameters
    ----------
    y : (n,) what the columns predict
    columns : (n, p)
    at : (p,) the new point's columns

    Raises
    ------
    BadData
        No point to spare, so that nothing tells how points scatter.

    Notes
    -----
    Plain least squares on the values as measured: for a new point measured alike, it predicts best even where
    the values carry errors.

    Source: Draper & Smith 1998, Applied Regression Analysis, section 3.1; Fuller 1987, Measurement Error
    Models, section 1.6.3, for the errors.
    """
    x, y, at = _design(columns), as_floats(y), as_floats(at)
    n, p = x.shape
    if n - p < 1 or at.size != p - 1:
        raise BadData(f"predict: {n} points, {p - 1} slopes, {at.size} values; wanted {p + 1} points or more")
    weights = np.concatenate([[1.0], at]) @ np.linalg.pinv(x)
    rest = y - x @ (np.linalg.pinv(x) @ y)
    scatter = math.sqrt(float(rest @ rest) / (n - p))
    se = scatter * math.sqrt(1 + float(weights @ weights))
    return Predicted(float(weights @ y), se, weights, scatter, n - p)


def _design(columns: FloatArray) -> FloatArray:
    x = as_floats(columns)
    if x.ndim != 2:
        raise BadData(f"left out: columns {x.shape}, wanted (points, columns)")
    return np.column_stack([np.ones(len(x)), x])
