"""What a panel would hear of a recording that was in no test, with an interval; refused outside the data."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.analysis.explain import stimulus_covariates
from listening.errors import StudyError
from listening.records.found.findings import Findings, StrengthSet
from listening.records.found.findings_explained import HeardMeasured, PlayedMeasure
from listening.records.found.interval import Interval
from stats import t_interval
from stats.measured import cross_validation
from stats.measured.cross_validation import Predicted
from stats.mixed import marginal_share

FloatArray = NDArray[np.float64]

LEVEL = 0.95


@dataclass(frozen=True)
class Against:
    """The new recording against one condition of the test."""

    condition: str
    label: str
    difference: Interval
    """Log-odds."""
    share: Interval
    """Share of choices over listeners that the new recording would get."""


@dataclass(frozen=True)
class Prediction:
    """Predicted strength of a new recording, on the scale of the study's strengths (their mean is 0)."""

    attribute: str
    presentation: str
    metric: str
    value: float
    """Of the new recording, in the metric's unit."""
    lowest: float
    highest: float
    """Of the strikes heard: the range inside which a prediction is given."""
    n_conditions: int
    strength: Interval
    """What a panel like this one would hear: line, scatter of conditions and the single strike."""
    one_listener: Interval
    """What one listener would hear: the spread of listeners with it."""
    against: tuple[Against, ...]
    left_out_error: float
    """Root mean square error of the same line on conditions it had not seen, log-odds."""
    also_outside: tuple[str, ...]
    """Other properties of the new recording that lie outside what was heard."""
    as_good: tuple[str, ...]
    """Metrics that the data cannot tell from the best."""
    simulated: bool


def choices(found: Findings) -> list[tuple[str, str]]:
    """Attributes and presentations for which a metric was held against strengths."""
    return list(dict.fromkeys((h.attribute, h.presentation) for h in found.heard_measured))


def predict(
    found: Findings,
    measured: Mapping[str, float | None],
    *,
    attribute: str,
    presentation: str,
    metric: str | None = None,
) -> Prediction:
    """The prediction from one metric's line; the best-predicting metric unless one is named.

    Parameters
    ----------
    measured : metrics of the new recording as it would be played in this presentation

    Raises
    ------
    StudyError
        Nothing to predict from, no such metric, no better than no metric, or outside the range of the data.
    """
    lines = [h for h in found.heard_measured if (h.attribute, h.presentation) == (attribute, presentation)]
    line = _line(lines, metric, f"{attribute}, {presentation}")
    strengths = next(s for s in found.strengths if (s.attribute, s.presentation) == (attribute, presentation))
    played = _played(found, presentation, line.metric, strengths)
    value = measured.get(line.metric)
    if value is None:
        raise StudyError(f"the new recording has no {line.metric}; name another metric with --metric")
    lowest, highest = _range(found, presentation, line.metric)
    if not lowest <= value <= highest:
        raise StudyError(
            f"{line.metric} of the new recording is {value:.4g}; the strikes heard lie between "
            f"{lowest:.4g} and {highest:.4g}, and the line is not known outside: let the recording be heard "
            "in a test, or predict from a metric inside (--metric)"
        )
    x = np.array([stimulus_covariates.scaled(line.metric, p.mean.value) for p in played])
    y = np.array([s.strength.value for s in strengths.strengths])
    at = cross_validation.predict(x[:, None], y, np.array([stimulus_covariates.scaled(line.metric, value)]))
    se = math.sqrt(at.se**2 + _single_strike(strengths, played, line))
    own = strengths.spread_listeners or 0.0
    return Prediction(
        attribute=attribute,
        presentation=presentation,
        metric=line.metric,
        value=value,
        lowest=lowest,
        highest=highest,
        n_conditions=len(played),
        strength=_limits(at.estimate, se, at.df),
        one_listener=_limits(at.estimate, math.hypot(se, own), at.df),
        against=tuple(_against(strengths, i, at, se, own) for i in range(len(played))),
        left_out_error=line.left_out_error,
        also_outside=tuple(_outside(found, presentation, measured, line.metric)),
        as_good=tuple(h.metric for h in lines if not h.is_best and h.told_from_best is False),
        simulated=found.simulated,
    )


def _line(lines: list[HeardMeasured], metric: str | None, where: str) -> HeardMeasured:
    if not lines:
        raise StudyError(
            f"{where}: no metric was held against strengths; that takes five conditions or more, all "
            "compared. `listening analyse` says what it found"
        )
    names = {h.metric: h for h in lines}
    chosen = next(h for h in lines if h.is_best) if metric is None else names.get(metric)
    if chosen is None:
        raise StudyError(f"{where}: `{metric}` was not held against strengths; wanted one of {list(names)}")
    nothing = chosen.nothing_error
    if nothing is not None and chosen.left_out_error >= nothing:
        raise StudyError(
            f"{where}: predicting from {chosen.metric} misses unseen conditions by "
            f"{chosen.left_out_error:.2f} log-odds, the mean of the others by {nothing:.2f}: it predicts "
            "nothing here; name another metric (--metric), or let the recording be heard in a test"
        )
    return chosen


def _played(found: Findings, presentation: str, metric: str, strengths: StrengthSet) -> list[PlayedMeasure]:
    """The metric of each condition, in the order of the strengths."""
    by_condition = {
        p.condition: p for p in found.played if (p.presentation, p.metric) == (presentation, metric)
    }
    if missing := [s.condition for s in strengths.strengths if s.condition not in by_condition]:
        raise StudyError(
            f"the findings hold no {metric} of {missing[0]} as played: an earlier version wrote them; run "
            "`listening analyse` again"
        )
    return [by_condition[s.condition] for s in strengths.strengths]


def _range(found: Findings, presentation: str, metric: str) -> tuple[float, float]:
    """Lowest and highest value of the strikes heard; without any, everything is outside."""
    strikes = (s.after.get(metric) for s in found.matching.stimuli if s.presentation == presentation)
    known = [value for value in strikes if value is not None]
    return min(known, default=math.inf), max(known, default=-math.inf)


def _single_strike(strengths: StrengthSet, played: list[PlayedMeasure], line: HeardMeasured) -> float:
    """Variance that one strike has more than the mean over strikes, whose scatter the line has seen."""
    n = np.array([p.n for p in played], dtype=float)
    se = np.array([_se_played(line.metric, p) for p in played])
    measured = line.slope.value**2 * float(np.mean(se**2 * (n - 1)))
    heard = (strengths.spread_stimuli or 0.0) ** 2 * float(np.mean(1 - 1 / n))
    return measured + heard


def _se_played(metric: str, one: PlayedMeasure) -> float:
    """Standard error of a condition's mean, in steps of `covariates.per`."""
    if one.mean.lower is None or one.mean.upper is None:
        return 0.0
    reach = stimulus_covariates.scaled(metric, one.mean.upper) - stimulus_covariates.scaled(
        metric, one.mean.lower
    )
    return reach / (2 * t_interval.quantile((1 + one.mean.coverage) / 2, one.n - 1))


def _against(strengths: StrengthSet, i: int, at: Predicted, se: float, own: float) -> Against:
    """The new recording less condition i, whose own strength has been heard and not predicted."""
    other = strengths.strengths[i]
    se_other = _se(other.strength, strengths.df or math.inf)
    # the condition's noise is in the line too, by its weight
    variance = se**2 + se_other**2 * (1 - 2 * float(at.weights[i]))
    gap = _limits(at.estimate - other.strength.value, math.sqrt(max(variance, 0.0)), at.df)
    spread = math.sqrt(2.0) * own
    value, lower, upper = (
        marginal_share.share(logit, spread) for logit in (gap.value, gap.lower or 0.0, gap.upper or 0.0)
    )
    return Against(
        condition=other.condition,
        label=other.label,
        difference=gap,
        share=Interval(value=value, lower=lower, upper=upper, coverage=LEVEL),
    )


def _se(found: Interval, df: float) -> float:
    if found.lower is None or found.upper is None:
        return 0.0
    return (found.upper - found.lower) / (2 * t_interval.quantile((1 + found.coverage) / 2, df))


def _outside(
    found: Findings, presentation: str, measured: Mapping[str, float | None], used: str
) -> list[str]:
    """Level, brightness and decay of the new recording where they leave the range heard."""
    named = {d.level_metric for d in found.decompositions}
    named |= {s.metric for d in found.decompositions for s in d.shares}
    lines = []
    for metric in sorted(named - {used}):
        lowest, highest = _range(found, presentation, metric)
        value = measured.get(metric)
        if value is not None and not lowest <= value <= highest:
            lines.append(f"{metric} {value:.4g}, heard {lowest:.4g} to {highest:.4g}")
    return lines


def _limits(estimate: float, se: float, df: float) -> Interval:
    lower, upper = t_interval.of(estimate, se, df, LEVEL)
    return Interval(value=estimate, lower=lower, upper=upper, coverage=LEVEL)
