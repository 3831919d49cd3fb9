"""What was measured of each condition as it was played: means over strikes, on the scales answers go by."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.analysis.explain import stimulus_covariates
from listening.records.found.findings_explained import PlayedMeasure
from listening.records.found.interval import Interval
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.records.sounds.measured import Measures
from stats import t_interval

FloatArray = NDArray[np.float64]

LEVEL = 0.95
# between conditions, root mean square of the pairs' differences; below it there is nothing to explain with
SMALLEST_LEVEL_DIFFERENCE = 0.3
SMALLEST_RATIO_DIFFERENCE = 0.02


@dataclass(frozen=True)
class Played:
    """One metric of one condition in one presentation, in steps of `covariates.per`."""

    mean: float
    se: float | None
    """Of the mean; None for one strike."""
    n: int
    sd_strike: float | None
    """Of single strikes about their mean."""


Table = Mapping[tuple[str, str, str], Played]
"""By presentation, condition and metric."""


def table(manifest: Manifest, measures: Measures | None) -> dict[tuple[str, str, str], Played]:
    """Every metric that all strikes of a condition have, from the written stimuli.

    Where several specimens of a condition were recorded, their means are what varies: strikes of one specimen
    are no independent observations (GUM 4.2).
    """
    specimens = {r.recording: r.specimen for r in measures.recordings} if measures else {}
    groups: dict[tuple[str, str], list[Stimulus]] = {}
    for one in manifest.stimuli:
        if one.role == "study":
            groups.setdefault((one.presentation, one.condition), []).append(one)
    made = {}
    for (presentation, condition), strikes in groups.items():
        for metric in strikes[0].after:
            values = np.array([stimulus_covariates.scaled(metric, s.after.get(metric)) for s in strikes])
            if np.isfinite(values).all():
                own = [specimens.get(s.recording, "") for s in strikes]
                made[presentation, condition, metric] = _played(values, own)
    return made


def findings(found: Table, protocol: Protocol) -> tuple[PlayedMeasure, ...]:
    """The same with limits, in the metrics' own specimens."""
    return tuple(
        PlayedMeasure(
            presentation=presentation,
            condition=condition,
            label=protocol.label(condition),
            metric=metric,
            n=one.n,
            mean=_interval(metric, one),
        )
        for (presentation, condition, metric), one in found.items()
    )


def column(
    found: Table, presentation: str, conditions: Sequence[str], metric: str
) -> tuple[FloatArray, FloatArray] | None:
    """Means and standard errors of a metric over conditions (0 for one strike); None where one lacks it."""
    rows = [found.get((presentation, condition, metric)) for condition in conditions]
    known = [row for row in rows if row is not None]
    if len(known) < len(rows):
        return None
    return np.array([row.mean for row in known]), np.array([row.se or 0.0 for row in known])


def differs(metric: str, means: FloatArray) -> bool:
    """Whether conditions differ enough in a metric to explain anything with it."""
    of_pairs = float(np.sqrt(2.0) * means.std(ddof=1))
    ratio_scale = stimulus_covariates.per(metric) == stimulus_covariates.DOUBLING
    return of_pairs >= (SMALLEST_RATIO_DIFFERENCE if ratio_scale else SMALLEST_LEVEL_DIFFERENCE)


def _played(values: FloatArray, specimens: Sequence[str]) -> Played:
    names = list(dict.fromkeys(specimens))
    means = np.array([values[[u == name for u in specimens]].mean() for name in names])
    varies = means if len(means) > 1 else values
    se = float(varies.std(ddof=1) / np.sqrt(varies.size)) if varies.size > 1 else None
    sd = float(values.std(ddof=1)) if values.size > 1 else None
    return Played(mean=float(means.mean()), se=se, n=varies.size, sd_strike=sd)


def _interval(metric: str, one: Played) -> Interval:
    back = stimulus_covariates.unscaled
    if one.se is None:
        return Interval(value=back(metric, one.mean), lower=None, upper=None, coverage=LEVEL)
    lower, upper = t_interval.of(one.mean, one.se, one.n - 1, LEVEL)
    return Interval(
        value=back(metric, one.mean), lower=back(metric, lower), upper=back(metric, upper), coverage=LEVEL
    )
