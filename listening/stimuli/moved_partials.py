"""The strongest partials of a stimulus made from a strike: the T60 they had, were to have, and have."""

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError, StudyError
from listening.metrics.ringing.modes import LN_1000
from listening.records.sounds.manifest import MovedPartial
from listening.stimuli import crowded, modal, reshape
from listening.stimuli.modal import Split
from listening.stimuli.reshape import Damping

CHECKED_PARTIALS = 5
T60_TOLERANCE = 0.02  # of a checked partial against what was asked of it


def checked(
    split: Split, damping: Damping, tilt_db_per_octave: float
) -> tuple[tuple[MovedPartial, ...], tuple[MovedPartial, ...]]:
    """The partials measured in the sound that was made: the five with the most energy, and all others.

    Raises
    ------
    StudyError
        One of the five misses the T60 that was asked by more than 2 %.
    SoundError
        None of them can be measured.
    """
    made = reshape.together(split, damping=damping, tilt_db_per_octave=tilt_db_per_octave)
    found = (_of_peaks if split.peaks else _of_modes)(split, damping, made)
    for partial in found[:CHECKED_PARTIALS]:
        _check(partial, split.sound.name)
    return found[:CHECKED_PARTIALS], found[CHECKED_PARTIALS:]


def _of_modes(split: Split, damping: Damping, made: Sound) -> tuple[MovedPartial, ...]:
    """By fitting the modes anew, from their old places and from where they should have gone."""
    factor = damping.factor(split.modes.frequency_hz)
    after = modal.refitted(split, made, other_start=reshape.damped(split.modes, damping))
    energy = np.abs(split.modes.amplitude) ** 2 / split.modes.decay_per_s
    return tuple(
        MovedPartial(
            frequency_hz=float(split.modes.frequency_hz[i]),
            t60_before_s=float(split.t60_s[i]),
            t60_wanted_s=float(split.t60_s[i] / factor[i]),
            t60_after_s=float(LN_1000 / after.decay_per_s[i]),
        )
        for i in np.argsort(-energy)
    )


def _of_peaks(split: Split, damping: Damping, made: Sound) -> tuple[MovedPartial, ...]:
    """By the decay of each band; a peak that the noise hides gives way to the next."""
    factor = damping.factor(np.array([peak.centre_hz for peak in split.peaks]))
    times_s = crowded.t60_s(split.sound, made, split.onset_s, split.peaks)
    found = [
        MovedPartial(
            frequency_hz=peak.centre_hz,
            t60_before_s=times[0],
            t60_wanted_s=times[0] / float(factor[i]),
            t60_after_s=times[1],
        )
        for i, (peak, times) in enumerate(zip(split.peaks, times_s, strict=True))
        if times is not None
    ]
    if not found:
        raise SoundError(
            f"{split.sound.name}: no partial stands far enough above the noise for its T60 to be measured; "
            "record nearer or in a quieter room"
        )
    return tuple(found)


def _check(partial: MovedPartial, name: str) -> None:
    miss = partial.t60_after_s / partial.t60_wanted_s - 1
    if abs(miss) > T60_TOLERANCE:
        raise StudyError(
            f"{name}: the partial at {partial.frequency_hz:.0f} Hz has a T60 of {partial.t60_after_s:.3f} s, "
            f"{partial.t60_wanted_s:.3f} s was asked, {100 * T60_TOLERANCE:g} % allowed; ask for a smaller "
            "isolation.decay_ratio, or take a recording with less noise"
        )
