"""Where on the frequency axis the energy lies."""

import numpy as np
from numpy import fft

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import fast_length
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
    frequency_hz, power = whole(sound)
    audible = (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    if not power[audible].sum() > SMALLEST_SHARE * power.sum():
        raise SoundError(f"{sound.name}: no energy between 20 Hz and 20 kHz; is this a recording of a sound?")
    return frequency_hz[audible], power[audible]


def whole(sound: Sound, *, mean: float = 0.0) -> tuple[FloatArray, FloatArray]:
    """Frequencies in Hz, from 0, and energy per bin of a one-channel sound less `mean`, (k,) each.

    The energies add up to the sum of the squared pressures. Of a long sound they are those of blocks under a
    sine's half wave, whose squares overlap to 1, added up: a line is then some 0.1 Hz wide.
    """
    sound.check_one_channel()
    if not sound.is_long:
        pressure = sound.pressure_between(0, sound.n_samples) - mean
        n_padded = fast_length.at_least(len(pressure))
        return _lines_hz(n_padded, sound.rate_hz), _energy(pressure, n_padded)
    size = sound.block_samples // 2 * 2
    window = np.sin(np.pi * (np.arange(size) + 0.5) / size)
    total = np.zeros(size // 2 + 1)
    for start in range(-size // 2, sound.n_samples, size // 2):
        block = sound.pressure_between(max(0, start), start + size) - mean
        place = max(0, -start)
        total += _energy(block * window[place : place + len(block)], size)
    return _lines_hz(size, sound.rate_hz), total


def _lines_hz(n: int, rate_hz: int) -> FloatArray:
    return np.asarray(fft.rfftfreq(n, 1.0 / rate_hz), dtype=np.float64)


def _energy(samples: FloatArray, n_padded: int) -> FloatArray:
    power = np.abs(fft.rfft(samples, n_padded)) ** 2 / n_padded
    power[1:] *= 2.0  # the bin at half the rate stands alone too, and holds next to nothing
    return np.asarray(power)


def centroid_hz(sound: Sound) -> float:
    """Centre of gravity of the energy spectrum, 20 Hz to 20 kHz, whole sound."""
    frequency_hz, weight = energy(sound)
    return float((frequency_hz * weight).sum() / weight.sum())


def high_share(sound: Sound, from_hz: float = HIGH_FROM_HZ) -> float:
    """Share of the audible energy at and above `from_hz`, 0 to 1."""
    frequency_hz, weight = energy(sound)
    return float(weight[frequency_hz >= from_hz].sum() / weight.sum())
