"""Heard strengths over measured values: lines with errors on both axes, and which predicts the unseen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.analysis.collect import played
from listening.analysis.decide import level_part, level_slope
from listening.analysis.decide.level_slope import Slope
from listening.analysis.explain import property_slopes, stimulus_covariates
from listening.analysis.explain.strengths import Strengths
from listening.records.found.findings_explained import HeardMeasured, JointModel, JointSlope
from listening.records.found.interval import Interval
from stats import t_interval
from stats.errors import StatsError
from stats.measured import cross_validation as left_out
from stats.measured import errors_in_both

FloatArray = NDArray[np.float64]

COVERAGE = 0.95
LEVEL = "level"
HARDLY = "the conditions hardly differ in brightness or decay"
FEWEST_CONDITIONS = 5  # below it, leaving one out leaves too few to predict from


@dataclass(frozen=True)
class Axis:
    """One metric over the conditions of one set."""

    metric: str
    value: FloatArray
    """(k,) in steps of `covariates.per`."""
    se: FloatArray
    """(k,) over strikes; 0 where there is one."""
    left_out: FloatArray
    """(k,) strength less its prediction from the other conditions."""

    @property
    def mean_square(self) -> float:
        """Mean squared error left out."""
        return float(np.mean(self.left_out**2))


def over_metrics(key: tuple[str, str], found: Strengths, tried: Sequence[Axis]) -> tuple[HeardMeasured, ...]:
    """Every metric in which the conditions of a set differ, against the strengths of that set.

    Parameters
    ----------
    key : attribute and presentation
    tried : from `axes`
    """
    if not tried:
        return ()
    best = the_best(tried)
    # the best is picked from the data, so limits hold for all comparisons with it at once (Bonferroni)
    level = 1 - (1 - COVERAGE) / max(len(tried) - 1, 1)
    return tuple(_row(key, found, axis, best, level) for axis in tried)


def the_best(tried: Sequence[Axis]) -> Axis:
    """The metric with the smallest error left out."""
    return min(tried, key=lambda axis: axis.mean_square)


def axes(presentation: str, found: Strengths, table: played.Table) -> list[Axis]:
    """The metrics that can be tried: measured of every condition, and differing."""
    if len(found.conditions) < FEWEST_CONDITIONS:
        return []
    made = []
    for metric in dict.fromkeys(metric for where, _, metric in table if where == presentation):
        got = played.column(table, presentation, found.conditions, metric)
        if got is not None and played.differs(metric, got[0]):
            made.append(Axis(metric, *got, left_out.errors(got[0][:, None], found.strength)))
    return made


def joint(
    key: tuple[str, str],
    found: Strengths,
    table: played.Table,
    *,
    metrics: Mapping[str, str],
    slope: Slope | None,
    best: Axis | None,
) -> JointModel:
    """Level, brightness and decay together; where they cannot be told apart, its note says so.

    Parameters
    ----------
    metrics : of level, brightness and decay
    slope : what a decibel does; where known, level's part is taken off and the conditions tell the rest
    best : the best single metric of the same set, to compare with
    """
    blank = JointModel(attribute=key[0], presentation=key[1], n_conditions=len(found.conditions))
    given = _given(key[1], found, table, metrics, slope)
    n_spare = len(found.conditions) - len(given.columns)
    if not given.columns:
        return blank.model_copy(update={"note": HARDLY})
    if n_spare < property_slopes.SPARE_CONDITIONS:
        few = f"{blank.n_conditions} conditions are too few to separate {len(given.columns)} properties"
        wanted = f"wanted at least {len(given.columns) + property_slopes.SPARE_CONDITIONS}"
        return blank.model_copy(update={"note": f"{few}; {wanted}"})
    x, se = (np.column_stack([axis[part] for axis in given.columns.values()]) for part in (0, 1))
    try:
        error = left_out.errors(x, given.strength)
        line = errors_in_both.fit(x, given.strength, x_se=se, y_covariance=given.covariance, scatter=True)
    except StatsError as problem:
        return blank.model_copy(update={"note": str(problem)})
    return blank.model_copy(
        update={
            "slopes": _joint_slopes(given, line, found.df, metrics),
            "level_by": given.level_by,
            "scatter": line.scatter,
            "left_out_error": float(np.sqrt(np.mean(error**2))),
            "behind_best": None if best is None else _behind(error, best.left_out, COVERAGE),
        }
    )


@dataclass(frozen=True)
class _Given:
    """What a joint model is fitted to."""

    columns: dict[str, tuple[FloatArray, FloatArray]]
    """Property → means and their standard errors, of those whose slopes the conditions tell."""
    strength: FloatArray
    """Level's part taken off where its slope is known."""
    covariance: FloatArray
    level: Interval | None
    """Its slope, where control pairs tell it."""
    level_by: str


def _given(
    presentation: str, found: Strengths, table: played.Table, metrics: Mapping[str, str], slope: Slope | None
) -> _Given:
    got = {n: played.column(table, presentation, found.conditions, metric) for n, metric in metrics.items()}
    used = {n: axis for n, axis in got.items() if axis is not None and played.differs(metrics[n], axis[0])}
    level = level_slope.of_metric(slope, metrics[LEVEL]) if LEVEL in used else None
    if level is None:
        return _Given(used, found.strength, found.covariance, None, "conditions")
    means = used.pop(LEVEL)[0]
    others = {name: axis[0] - axis[0].mean() for name, axis in used.items()}
    part = level_part.of(found, level, means - means.mean(), others)
    left = part.without
    covariance = left @ part.covariance @ left.T
    known = _limits(part.slope, part.slope_se, min(found.df, level.n_listeners - 1))
    return _Given(used, left @ part.estimate, covariance, known, level.source)


def _joint_slopes(
    given: _Given, line: errors_in_both.Slopes, df: float, metrics: Mapping[str, str]
) -> tuple[JointSlope, ...]:
    limits = {
        name: _limits(float(line.estimate[j]), float(line.se[j]), min(line.df, df))
        for j, name in enumerate(given.columns)
    }
    if given.level is not None:
        limits = {LEVEL: given.level} | limits
    return tuple(
        JointSlope(name=n, metric=metrics[n], per=stimulus_covariates.per(metrics[n]), slope=slope)
        for n, slope in limits.items()
    )


def nothing_error(strength: FloatArray) -> float:
    """Root mean square error of predicting each condition by the mean of the others."""
    return float(np.sqrt(np.mean(left_out.errors(np.zeros((strength.size, 0)), strength) ** 2)))


def _row(key: tuple[str, str], found: Strengths, axis: Axis, best: Axis, level: float) -> HeardMeasured:
    n = axis.value.size
    centred = axis.value - axis.value.mean()
    slope = float(centred @ found.strength / (centred @ centred))
    rest = found.strength - found.strength.mean() - slope * centred
    se = float(np.sqrt(rest @ rest / (n - 2) / (centred @ centred)))
    both, scatter = _both(axis, found)
    behind = None if axis is best else _behind(axis.left_out, best.left_out, level)
    return HeardMeasured(
        attribute=key[0],
        presentation=key[1],
        metric=axis.metric,
        per=stimulus_covariates.per(axis.metric),
        n_conditions=n,
        correlation=_correlation(axis.value, found.strength),
        slope=_limits(slope, se, n - 2),
        slope_both=both,
        scatter=scatter,
        left_out_error=float(np.sqrt(axis.mean_square)),
        nothing_error=nothing_error(found.strength),
        is_best=axis is best,
        behind_best=behind,
        told_from_best=None if behind is None or behind.lower is None else behind.lower > 0,
    )


def _both(axis: Axis, found: Strengths) -> tuple[Interval | None, float | None]:
    try:
        line = errors_in_both.fit(
            axis.value[:, None],
            found.strength,
            x_se=axis.se[:, None],
            y_covariance=found.covariance,
            scatter=True,
        )
    except StatsError:  # the errors drown the metric's spread
        return None, None
    df = min(line.df, found.df)
    return _limits(float(line.estimate[0]), float(line.se[0]), df), line.scatter


def _behind(one: Sequence[float] | FloatArray, best: FloatArray, level: float) -> Interval:
    gap = left_out.compare(np.asarray(one), best, level=level)
    return Interval(value=gap.estimate, lower=gap.lower, upper=gap.upper, coverage=COVERAGE)


def _correlation(value: FloatArray, strength: FloatArray) -> Interval:
    """Fisher's interval. Source: Fisher 1921, Metron 1."""
    found = float(np.corrcoef(value, strength)[0, 1])
    on_z_scale = float(np.arctanh(np.clip(found, -1 + 1e-12, 1 - 1e-12)))
    low, high = t_interval.of(on_z_scale, 1 / (value.size - 3) ** 0.5, np.inf, COVERAGE)
    return Interval(value=found, lower=float(np.tanh(low)), upper=float(np.tanh(high)), coverage=COVERAGE)


def _limits(estimate: float, se: float, df: float) -> Interval:
    lower, upper = t_interval.of(estimate, se, df, COVERAGE)
    return Interval(value=estimate, lower=lower, upper=upper, coverage=COVERAGE)
