"""Third-octave and octave bands after IEC 61260-1:2014: levels, and the sound behind one band filter."""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics import response, spectrum
from listening.metrics.level import check_not_silent

OCTAVE_RATIO = 10.0**0.3  # IEC 61260-1:2014, 5.2
LOWEST_HZ, HIGHEST_HZ = 22.0, 17_000.0  # midbands kept: 25 Hz to 16 kHz


@dataclass(frozen=True, eq=False)
class BandLevels:
    """Equivalent levels over the whole sound."""

    midband_hz: FloatArray
    """(b,) exact midband frequencies"""
    level_db: FloatArray
    """(b,) dB re 20 µPa or re full scale; -inf where a band holds nothing"""


def midbands_hz(rate_hz: int, *, per_octave: int = 3) -> FloatArray:
    """Exact midband frequencies, 25 Hz to 16 kHz, of the bands that fit below half the rate."""
    step = OCTAVE_RATIO ** (1.0 / per_octave)
    exponents = np.arange(-60, 61)
    middle = 1000.0 * step**exponents
    fits = (middle >= LOWEST_HZ) & (middle <= HIGHEST_HZ) & (middle * step**0.5 <= 0.5 * rate_hz)
    return np.asarray(middle[fits])


def levels(sound: Sound, *, per_octave: int = 3) -> BandLevels:
    """Levels of all bands of a one-channel sound."""
    check_not_silent(sound)
    frequency_hz, energy = spectrum.whole(sound)
    middle = midbands_hz(sound.rate_hz, per_octave=per_octave)
    mean_square = [
        (energy * np.abs(band_response(frequency_hz, m, per_octave=per_octave)) ** 2).sum() for m in middle
    ]
    scaled = np.array(mean_square) / (sound.n_samples * sound.reference**2)
    with np.errstate(divide="ignore"):
        return BandLevels(middle, 10.0 * np.log10(scaled))


def filtered(samples: FloatArray, rate_hz: int, midband_hz: float, *, per_octave: int = 3) -> FloatArray:
    """(n,) samples behind one band filter, causal."""

    def gain(frequency_hz: FloatArray) -> np.ndarray:
        return band_response(frequency_hz, midband_hz, per_octave=per_octave)

    return response.apply(samples, rate_hz, gain, is_kept=False)


def band_response(frequency_hz: FloatArray, midband_hz: float, *, per_octave: int = 3) -> np.ndarray:
    """(k,) complex gain of a third-order Butterworth band-pass, -3 dB on the band edges; class 1."""
    width = OCTAVE_RATIO ** (0.5 / per_octave) - OCTAVE_RATIO ** (-0.5 / per_octave)
    ratio = np.maximum(frequency_hz, 1e-9) / midband_hz
    s = 1j * (ratio - 1.0 / ratio) / width
    return np.asarray(1.0 / (s**3 + 2.0 * s**2 + 2.0 * s + 1.0))
