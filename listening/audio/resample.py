"""Another sample rate for the same sound."""

from dataclasses import replace

import numpy as np
import soxr

from listening.audio.sound import FloatArray, Sound


def to_rate(sound: Sound, rate_hz: int) -> Sound:
    """`sound` at `rate_hz`, band-limited (soxr, very high quality); itself when the rate is right already."""
    if sound.rate_hz == rate_hz:
        return sound
    return replace(sound, samples=converted(sound.samples, sound.rate_hz, rate_hz), rate_hz=rate_hz)


def converted(samples: FloatArray, from_hz: int, to_hz: int) -> FloatArray:
    """Samples, (n,) or (n, channels), at another rate; the first sample keeps its instant."""
    if from_hz == to_hz:
        return samples
    return np.asarray(soxr.resample(samples, from_hz, to_hz, quality="VHQ"), dtype=np.float64)
