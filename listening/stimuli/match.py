"""Gains that make a set equal in one metric of level or loudness."""

from collections.abc import Callable, Sequence

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError, StudyError
from listening.metrics import channels, level
from listening.metrics.loud import loudness, loudness_bs1770

LARGEST_GAIN_DB = 30.0  # beyond, the noise of a weak recording is lifted into the audible
MOST_STEPS = 30
FINENESS = 20  # iterate to a twentieth of the tolerance

VALUE: dict[str, Callable[[Sound], float | None]] = {
    "laf_max_db": lambda sound: level.measure(channels.loudest(sound)).laf_max_db,
    "lae_db": lambda sound: level.measure(channels.loudest(sound)).lae_db,
    "momentary_max_lufs": loudness_bs1770.momentary_max_lufs,
    "integrated_lufs": loudness_bs1770.integrated_lufs,
    "true_peak_dbtp": loudness_bs1770.true_peak_dbtp,
    "nmax_sone": lambda sound: loudness.level_phon(loudness.course(channels.loudest(sound)).nmax_sone),
}
WAY_OUT = "leave it out (recordings.use), or match on laf_max_db"


def value(sound: Sound, metric: str) -> float:
    """What matching holds equal, in decibel or phon.

    Raises
    ------
    SoundError
        The sound has no such value: it is too weak for the gate, or not calibrated.
    """
    found = VALUE[metric](sound)
    if found is None or not np.isfinite(found):
        raise SoundError(
            f"{sound.name}: has no {metric}; match on laf_max_db, or raise the level of the recording"
        )
    return float(found)


def target(values: Sequence[float]) -> float:
    """The common value of a set: its median, so that most stimuli move little."""
    return float(np.median(values))


def gain_db(sound: Sound, metric: str, *, target: float, tolerance_db: float) -> float:
    """The gain after which the metric of a sound is `target`, to a small part of the tolerance.

    Raises
    ------
    StudyError
        It takes more than 30 dB, or no gain reaches the target.
    """
    gain, slope = 0.0, 1.0
    miss = value(sound, metric) - target
    for _ in range(MOST_STEPS):
        if abs(miss) <= tolerance_db / FINENESS:
            return gain
        step = float(np.clip(-miss / slope, -LARGEST_GAIN_DB, LARGEST_GAIN_DB))
        gain += step
        _check_reach(sound, gain, metric, target)
        after = value(sound.amplified(gain), metric) - target
        if abs(step) > 1e-9:
            slope = float(np.clip((after - miss) / step, 0.2, 5.0))
        miss = after
    raise StudyError(
        f"{sound.name}: {metric} still misses {target:.2f} by {miss:+.3f} after {MOST_STEPS} steps, "
        f"tolerance {tolerance_db:g}; leave the recording out, or match on laf_max_db"
    )


def _check_reach(sound: Sound, gain_db: float, metric: str, target: float) -> None:
    if abs(gain_db) > LARGEST_GAIN_DB:
        raise StudyError(
            f"{sound.name}: {gain_db:+.1f} dB would be needed to bring {metric} to {target:.2f}, "
            f"at most {LARGEST_GAIN_DB:g} dB either way is allowed; leave it out (recordings.use), "
            "or record it at a level nearer to the others"
        )
