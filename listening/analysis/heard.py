"""Heard strengths over measured values, metric by metric: which predicts what it has not seen."""

import numpy as np
from numpy.typing import NDArray

from listening.analysis import covariates
from listening.records.findings import ConditionMeasure, StrengthSet
from listening.records.findings_explained import HeardMeasured
from listening.records.interval import Interval
from stats import t_interval

FloatArray = NDArray[np.float64]

LEVEL = 0.95
FEWEST_CONDITIONS = 5  # below it, leaving one out leaves too few to predict from


def over_metrics(
    sets: tuple[StrengthSet, ...], measured: tuple[ConditionMeasure, ...]
) -> tuple[HeardMeasured, ...]:
    """Every metric that all conditions of a set have, against the strengths of that set."""
    made: list[HeardMeasured] = []
    for one in sets:
        if len(one.strengths) < FEWEST_CONDITIONS:
            continue
        strength = np.array([s.strength.value for s in one.strengths])
        rows = []
        for metric in dict.fromkeys(m.metric for m in measured):
            means = {m.condition: m.mean for m in measured if m.metric == metric}
            value = np.array(
                [covariates.scaled(metric, means.get(s.condition)) for s in one.strengths], dtype=float
            )
            if np.isfinite(value).all() and np.ptp(value) > 0:
                rows.append(_row(one, metric, value, strength))
        best = min((row.left_out_error for row in rows), default=0.0)
        made += [row.model_copy(update={"is_best": row.left_out_error == best}) for row in rows]
    return tuple(made)


def left_out_error(value: FloatArray, strength: FloatArray) -> float:
    """Root mean square error of each strength predicted by the line through all others.

    The error of leaving one out is residual / (1 - leverage). Source: Allen 1974, Technometrics 16(1).
    """
    x = np.column_stack([np.ones_like(value), value])
    hat = x @ np.linalg.pinv(x)
    residual = strength - hat @ strength
    return float(np.sqrt(np.mean((residual / (1 - np.diag(hat))) ** 2)))


def _row(one: StrengthSet, metric: str, value: FloatArray, strength: FloatArray) -> HeardMeasured:
    n = value.size
    centred = value - value.mean()
    slope = float(centred @ strength / (centred @ centred))
    residual = strength - strength.mean() - slope * centred
    se = float(np.sqrt(residual @ residual / (n - 2) / (centred @ centred)))
    correlation = float(np.corrcoef(value, strength)[0, 1])
    low, high = t_interval.of(
        float(np.arctanh(np.clip(correlation, -1 + 1e-12, 1 - 1e-12))), 1 / (n - 3) ** 0.5, np.inf, LEVEL
    )
    lower, upper = t_interval.of(slope, se, n - 2, LEVEL)
    return HeardMeasured(
        attribute=one.attribute,
        presentation=one.presentation,
        metric=metric,
        per=covariates.per(metric),
        n_conditions=n,
        correlation=Interval(
            value=correlation, lower=float(np.tanh(low)), upper=float(np.tanh(high)), level=LEVEL
        ),
        slope=Interval(value=slope, lower=lower, upper=upper, level=LEVEL),
        left_out_error=left_out_error(value, strength),
        is_best=False,
    )
