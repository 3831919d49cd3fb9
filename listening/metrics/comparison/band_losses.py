"""Energy lost band by band."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listening.metrics import bands
from listening.metrics.comparison import rows
from listening.metrics.comparison.strike_data import Strike

HIDDEN = "within 3 dB of the background on {}"


@dataclass(frozen=True)
class BandLoss:
    """One octave or third-octave band on both sides; the levels are exposure levels of the strike alone."""

    midband_hz: float
    """exact"""
    per_octave: int
    a_db: float | None
    b_db: float | None
    lost_db: float | None
    """from a to b; None where the background hides one of them"""
    lost_percent: float | None
    lower: float | None
    """95 % limits of lost_db over strikes"""
    upper: float | None
    inside_repeatability: bool | None
    known: bool
    why: str


def of_all(a: Sequence[Strike], b: Sequence[Strike], rate_hz: int) -> tuple[BandLoss, ...]:
    """Octaves, then third-octaves; bands that neither side has above its background are left out."""
    found = []
    for per_octave in (1, 3):
        levels = [_levels(side, per_octave) for side in (a, b)]
        for i, middle in enumerate(bands.midbands_hz(rate_hz, per_octave=per_octave)):
            kept = [_kept(level[:, i], side) for level, side in zip(levels, (a, b), strict=True)]
            if any(values for values, _ in kept):
                found.append(_loss(float(middle), per_octave, kept))
    return tuple(found)


def _levels(side: Sequence[Strike], per_octave: int) -> np.ndarray:
    return np.array([s.exposures.octave_db if per_octave == 1 else s.exposures.third_db for s in side])


def _kept(level_db: np.ndarray, side: Sequence[Strike]) -> tuple[list[float], list[str]]:
    """Values and units of the strikes in which the band is known; none unless most of them are."""
    pairs = [(float(v), s.unit) for v, s in zip(level_db, side, strict=True) if np.isfinite(v)]
    if 2 * len(pairs) <= len(side):
        return [], []
    return [v for v, _ in pairs], [u for _, u in pairs]


def _loss(middle: float, per_octave: int, kept: list[tuple[list[float], list[str]]]) -> BandLoss:
    (a, a_units), (b, b_units) = kept
    a_db, b_db = (float(np.mean(v)) if v else None for v in (a, b))
    if a_db is None or b_db is None:
        why = HIDDEN.format("a" if a_db is None else "b")
        return BandLoss(middle, per_octave, a_db, b_db, None, None, None, None, None, False, why)
    change = rows.difference(b, a, b_units, a_units)  # what is lost: a less b
    return BandLoss(
        midband_hz=middle,
        per_octave=per_octave,
        a_db=a_db,
        b_db=b_db,
        lost_db=a_db - b_db,
        lost_percent=rows.lost_percent(a_db - b_db),
        lower=change.low if change else None,
        upper=change.high if change else None,
        inside_repeatability=rows.inside(change),
        known=True,
        why="",
    )
