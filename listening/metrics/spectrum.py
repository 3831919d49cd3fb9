"""Where on the frequency axis the energy lies."""

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.level import check_not_silent

AUDIBLE_HZ = (20.0, 20_000.0)
HIGH_FROM_HZ = 4000.0
SMALLEST_SHARE = 1e-20  # of the energy: less is rounding


def energy(sound: Sound) -> tuple[FloatArray, FloatArray]:
    """Frequencies in Hz and energy per bin, (k,) each, of the audible range of a one-channel sound.

    Raises
    ------
    SoundError
        Silence, or nothing but DC and what lies outside 20 Hz to 20 kHz.
    """
    check_not_silent(sound)
    n_padded = fft.next_fast_len(sound.n_samples, real=True)
    frequency_hz = fft.rfftfreq(n_padded, 1.0 / sound.rate_hz)
    audible = (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    power = np.abs(fft.rfft(sound.only_channel(), n_padded)) ** 2
    if not power[audible].sum() > SMALLEST_SHARE * power.sum():
        raise SoundError(f"{sound.name}: no energy between 20 Hz and 20 kHz; is this a recording of a sound?")
    return frequency_hz[audible], power[audible]


def centroid_hz(sound: Sound) -> float:
    """Centre of gravity of the energy spectrum, 20 Hz to 20 kHz, whole sound."""
    frequency_hz, weight = energy(sound)
    return float((frequency_hz * weight).sum() / weight.sum())


def high_share(sound: Sound, from_hz: float = HIGH_FROM_HZ) -> float:
    """Share of the audible energy at and above `from_hz`, 0 to 1."""
    frequency_hz, weight = energy(sound)
    return float(weight[frequency_hz >= from_hz].sum() / weight.sum())
