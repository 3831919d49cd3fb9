"""What a support takes from a struck product: level, loudness and decay, in all, by band and by partial."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import bands, decay, level, loudness, onset, partials, uncertainty
from listening.metrics.partials import Partial
from listening.metrics.uncertainty import Difference

SAME_PARTIAL = 0.01  # relative frequency shift that a support may cause
STRONGEST = 8  # partials compared


@dataclass(frozen=True)
class Loss:
    """What is lost from the first support to the second."""

    lost_db: Difference
    lost_share: float
    """of the energy: 2.2 dB is 40 % lost, 4.0 dB is 40 % left"""


@dataclass(frozen=True)
class PartialLoss:
    """One partial on both supports."""

    frequency_hz: float
    loss: Loss
    t60_first_s: float
    t60_second_s: float


@dataclass(frozen=True)
class SupportStudy:
    """First support less second, over all strikes."""

    laf_max: Loss
    lae: Loss
    loudness_level: Difference | None
    """phon, of Nmax; None when not calibrated"""
    t20_first_s: float | None
    t20_second_s: float | None
    by_band: dict[float, Loss]
    """exposure level by third-octave midband in Hz"""
    by_partial: tuple[PartialLoss, ...]


def lost_share(lost_db: float) -> float:
    """Share of the energy that is gone after losing `lost_db`."""
    return float(1.0 - 10.0 ** (-lost_db / 10.0))


def lost_db(share: float) -> float:
    """dB lost when this share of the energy is gone.

    Raises
    ------
    SoundError
        A share of 1 or more: all is lost, no number of dB says that.
    """
    if not share < 1:
        raise SoundError(f"share lost {share}, wanted less than 1")
    return float(-10.0 * np.log10(1.0 - share))


def compare(first: Sequence[Sound], second: Sequence[Sound]) -> SupportStudy:
    """Strikes on a first support, e.g. hung free, against strikes on a second, one channel each.

    Raises
    ------
    SoundError
        Fewer than two strikes on a support, or calibrated mixed with uncalibrated.
    """
    _check(first, second)
    levels = [[level.measure(s) for s in side] for side in (first, second)]
    calibrated = first[0].calibrated
    return SupportStudy(
        laf_max=_loss(*([m.laf_max_db for m in side] for side in levels)),
        lae=_loss(*([m.lae_db for m in side] for side in levels)),
        loudness_level=_difference(*(_each(side, _phon) for side in (first, second))) if calibrated else None,
        t20_first_s=_mean_t20_s(first),
        t20_second_s=_mean_t20_s(second),
        by_band=_by_band(first, second),
        by_partial=_by_partial(first, second),
    )


def _check(first: Sequence[Sound], second: Sequence[Sound]) -> None:
    if len(first) < 2 or len(second) < 2:
        raise SoundError(f"{len(first)} and {len(second)} strikes, at least 2 on each support wanted")
    if len({s.calibrated for s in [*first, *second]}) > 1:
        raise SoundError(
            "calibrated and uncalibrated strikes in one comparison; calibrate all of them or none"
        )


def _each(sounds: Sequence[Sound], measure: Callable[[Sound], float]) -> list[float]:
    return [measure(s) for s in sounds]


def _difference(first: list[float], second: list[float]) -> Difference:
    return uncertainty.difference(uncertainty.summary(first), uncertainty.summary(second))


def _loss(first: list[float], second: list[float]) -> Loss:
    found = _difference(first, second)
    return Loss(found, lost_share(found.estimate))


def _phon(sound: Sound) -> float:
    return loudness.level_phon(loudness.course(sound).nmax_sone)


def _mean_t20_s(sounds: Sequence[Sound]) -> float | None:
    times = [t for s in sounds if (t := decay.measure(s).t20_s) is not None]
    return float(np.mean(times)) if times else None


def _band_exposures_db(sound: Sound) -> dict[float, float]:
    """Exposure levels of the strike alone: from 5 ms before the onset to the end."""
    ring = sound.part(onset.find(sound).time_s - 0.005, sound.duration_s)
    found = bands.levels(ring)
    exposure_db = found.level_db + 10 * np.log10(ring.duration_s)
    return dict(zip(found.midband_hz.tolist(), exposure_db.tolist(), strict=True))


def _by_band(first: Sequence[Sound], second: Sequence[Sound]) -> dict[float, Loss]:
    sides = [[_band_exposures_db(s) for s in side] for side in (first, second)]
    common = set.intersection(*(set(b) for side in sides for b in side))
    finite = [m for m in sorted(common) if all(np.isfinite(b[m]) for side in sides for b in side)]
    return {m: _loss(*([b[m] for b in side] for side in sides)) for m in finite}


def _by_partial(first: Sequence[Sound], second: Sequence[Sound]) -> tuple[PartialLoss, ...]:
    sides = [[partials.find(s) for s in side] for side in (first, second)]
    found: list[PartialLoss] = []
    for wanted in sides[0][0][:STRONGEST]:
        matched = [[_nearest(p, wanted.frequency_hz) for p in side] for side in sides]
        kept = [[p for p in side if p is not None] for side in matched]
        weaker_twin = matched[0][0] is not wanted
        if weaker_twin or any(len(k) < 2 for k in kept):
            continue
        found.append(
            PartialLoss(
                frequency_hz=wanted.frequency_hz,
                loss=_loss(*([p.level_db for p in k] for k in kept)),
                t60_first_s=float(np.mean([p.t60_s for p in kept[0]])),
                t60_second_s=float(np.mean([p.t60_s for p in kept[1]])),
            )
        )
    return tuple(found)


def _nearest(found: tuple[Partial, ...], frequency_hz: float) -> Partial | None:
    """The strongest partial within 1 % of a frequency."""
    near = [p for p in found if abs(p.frequency_hz / frequency_hz - 1) < SAME_PARTIAL]
    return max(near, key=lambda p: p.level_db) if near else None
