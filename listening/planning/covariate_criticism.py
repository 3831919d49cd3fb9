"""Before anyone listens: how pairs differ in level, brightness and decay, and if these can be told apart."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from listening.design.dealt_trial import strikes
from listening.errors import StudyError
from listening.records.protocols.protocol import ISOLATED, Protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from stats.fixed import variance_inflation as inflation

NAMES = ("level", "brightness", "decay")
STILL_LARGE_INFLATION = 2.5
HELD_EQUAL_DB = 0.2  # a level that differs by less over the pairs is held equal and left out
HELD_EQUAL_SHARE = 0.02  # the same for brightness and decay

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class PairDifference:
    """One pair of conditions, means over their strikes."""

    first: str
    second: str
    level_db: float
    """First minus second, in the level metric of the protocol (dB or phon)."""
    brightness_ratio: float
    decay_ratio: float
    dominant: str
    """The covariate with the largest difference, each in units of its root mean square over all pairs."""


@dataclass(frozen=True)
class Preview:
    """The pairs that one presentation compares."""

    presentation: str
    metrics: tuple[str, str, str]
    """Of level, brightness and decay."""
    pairs: tuple[PairDifference, ...]
    varying: tuple[str, ...]
    """Covariates that are not held equal."""
    correlation: FloatArray
    """(k, k) of the varying covariates over the pairs; a pair and its reverse count alike"""
    inflation: FloatArray
    """(k,) variance inflation of each slope"""

    @property
    def largest_inflation(self) -> float:
        """1 when at most one covariate varies."""
        return float(self.inflation.max(initial=1.0))


def of_study(protocol: Protocol, manifest: Manifest) -> list[Preview]:
    """One preview for every presentation that blocks compare pairs of.

    Raises
    ------
    StudyError
        A stimulus has no value of a metric that [covariates] names.
    """
    return [
        preview(_pairs(protocol, name, list(sounds)), sounds, presentation=name, metrics=_metrics(protocol))
        for name in dict.fromkeys(b.presentation for b in protocol.blocks)
        if len(sounds := strikes(manifest, name)) >= 2
    ]


def preview(
    pairs: list[tuple[str, str]],
    sounds: dict[str, list[Stimulus]],
    *,
    presentation: str,
    metrics: tuple[str, str, str],
) -> Preview:
    """The differences of some pairs of conditions, and what they leave of each covariate to itself."""
    means = {name: _means(strikes_of, metrics) for name, strikes_of in sounds.items()}
    differences = np.array([means[a] - means[b] for a, b in pairs])
    rms = np.sqrt((differences**2).mean(axis=0))
    held = np.array([HELD_EQUAL_DB, np.log1p(HELD_EQUAL_SHARE), np.log1p(HELD_EQUAL_SHARE)])
    varies = rms > held
    correlation = _correlation(differences[:, varies])
    return Preview(
        presentation=presentation,
        metrics=metrics,
        pairs=tuple(
            _described(pair, row, np.where(varies, rms, np.inf))
            for pair, row in zip(pairs, differences, strict=True)
        ),
        varying=tuple(n for n, v in zip(NAMES, varies, strict=True) if v),
        correlation=correlation,
        inflation=inflation.of_correlation(correlation),
    )


def advice(found: Preview, sounds: dict[str, list[Stimulus]]) -> list[str]:
    """Plain warnings, each with what would help; empty when the covariates can be told apart."""
    if found.largest_inflation < STILL_LARGE_INFLATION:
        return []
    if len(found.pairs) <= len(found.varying):
        pairs = "one pair" if len(found.pairs) == 1 else f"{len(found.pairs)} pairs"
        return [
            f"{found.presentation}: {pairs} cannot separate {', '.join(found.varying)}: no slope will say "
            "which of them is heard"
        ]
    worst = found.varying[int(np.argmax(found.inflation))]
    rest = np.array(found.varying) != worst
    row = np.abs(found.correlation[found.varying.index(worst)])
    partner = str(np.array(found.varying)[rest][int(np.argmax(row[rest]))])
    strength = "cannot be separated" if found.largest_inflation >= inflation.LARGE else "are hard to separate"
    lines = [
        f"{found.presentation}: {worst} and {partner} {strength} with these pairs: correlation "
        f"{found.correlation[found.varying.index(worst), found.varying.index(partner)]:+.2f}, variance "
        f"inflation {found.largest_inflation:.1f}; a slope says little about a cause"
    ]
    if found.presentation != ISOLATED:
        lines.append("  stimuli of [isolation], in which each moves on its own (inflation near 1)")
    return lines + _pair_to_drop(found, sounds)


def _pair_to_drop(found: Preview, sounds: dict[str, list[Stimulus]]) -> list[str]:
    """The one pair without which the inflation falls most, when that helps."""
    pairs = [(p.first, p.second) for p in found.pairs]
    if len(pairs) <= len(found.varying) + 1:
        return []
    without = [
        preview(
            [*pairs[:i], *pairs[i + 1 :]], sounds, presentation=found.presentation, metrics=found.metrics
        ).largest_inflation
        for i in range(len(pairs))
    ]
    best = int(np.argmin(without))
    if without[best] > 0.8 * found.largest_inflation:
        return []
    return [f"  or drop the pair {' - '.join(pairs[best])}: the inflation falls to {without[best]:.1f}"]


def _metrics(protocol: Protocol) -> tuple[str, str, str]:
    chosen = protocol.covariates
    return chosen.level, chosen.brightness, chosen.decay


def _pairs(protocol: Protocol, presentation: str, conditions: list[str]) -> list[tuple[str, str]]:
    blocks = [b for b in protocol.blocks if b.presentation == presentation]
    if any(b.pairs != "planned" for b in blocks):
        return list(combinations(conditions, 2))
    asked = [q.contrast for q in protocol.questions if q.presentation == presentation]
    return list(dict.fromkeys(pair for c in asked for pair in c.pairs))


def _means(strikes_of: list[Stimulus], metrics: tuple[str, str, str]) -> FloatArray:
    """(3,) mean level, log brightness and log decay over the strikes."""
    rows = []
    for stimulus in strikes_of:
        values = [stimulus.after.get(metric) for metric in metrics]
        if any(v is None for v in values):
            missing = [m for m, v in zip(metrics, values, strict=True) if v is None]
            raise StudyError(
                f"{stimulus.stimulus}: has no {', '.join(missing)}; calibrate the recordings, "
                "or name another metric in [covariates]"
            )
        level, brightness, decay = (float(v) for v in values if v is not None)
        rows.append((level, np.log(brightness), np.log(decay)))
    return np.asarray(np.mean(np.array(rows), axis=0))


def _described(pair: tuple[str, str], row: FloatArray, scale: FloatArray) -> PairDifference:
    share = np.abs(row) / scale
    return PairDifference(
        first=pair[0],
        second=pair[1],
        level_db=float(row[0]),
        brightness_ratio=float(np.exp(row[1])),
        decay_ratio=float(np.exp(row[2])),
        dominant=NAMES[int(np.argmax(share))] if share.max() > 0 else "none",
    )


def _correlation(differences: FloatArray) -> FloatArray:
    """(k, k); not centred, because which of a pair comes first is arbitrary."""
    norm = np.sqrt((differences**2).sum(axis=0))
    return np.asarray((differences.T @ differences) / np.outer(norm, norm))
