"""A filter given by its frequency response, applied to a whole sound, or to one block of it after another.

Applying the analogue response to the spectrum has no frequency warping: the result is what the analogue
filter gives for the band-limited sound, at any sample rate.
"""

from collections.abc import Callable, Iterator
from functools import lru_cache

import numpy as np
from numpy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics import fast_length

RING_S = 0.5  # room for the filter to ring out; our slowest pole (20.6 Hz) is then down by 560 dB

Response = Callable[[FloatArray], np.ndarray]
"""frequencies in Hz, (k,) -> complex gain, (k,)"""


def apply(
    samples: FloatArray,
    rate_hz: int,
    response: Response,
    *,
    times_rate: int = 1,
    longest: int = 0,
    is_kept: bool = True,
) -> FloatArray:
    """(n * times_rate,) samples behind `response`, interpolated to `times_rate` times the rate.

    `samples` is (n,). What rings on after the end is cut off. The response's values are kept for the next
    samples of the same length, or that have the same `longest` to be filtered alike, unless `is_kept` is off.
    """
    n_padded = fast_length.at_least(max(len(samples), longest) + round(RING_S * rate_hz))
    spectrum = fft.rfft(samples, n_padded)
    spectrum *= (_gains if is_kept else _gains.__wrapped__)(response, n_padded, rate_hz)
    filtered = fft.irfft(spectrum, n_padded * times_rate) * times_rate
    return np.asarray(filtered[: len(samples) * times_rate], dtype=np.float64)


def blocks(
    sound: Sound, response: Response, *, channel: int = 0, unit: float = 1.0, times_rate: int = 1
) -> Iterator[FloatArray]:
    """(m * times_rate,) samples of a channel, times `unit`, behind `response`, block by block.

    Each block is filtered with RING_S of what lies before and after it: of a sound in several blocks the
    values differ from those of `apply` by less than 1e-5 of what lies at half the rate.
    """
    reach = round(RING_S * sound.rate_hz)
    longest = sound.block_samples + 2 * reach if sound.is_long else 0
    for start, stop in sound.spans():
        low, high = max(0, start - reach), min(sound.n_samples, stop + reach)
        samples = sound.read(low, high)[:, channel] * unit
        filtered = apply(samples, sound.rate_hz, response, times_rate=times_rate, longest=longest)
        yield filtered[(start - low) * times_rate : (stop - low) * times_rate]


@lru_cache(maxsize=8)  # the recordings of a study are of a few lengths
def _gains(response: Response, n: int, rate_hz: int) -> np.ndarray:
    return response(np.asarray(fft.rfftfreq(n, 1.0 / rate_hz), dtype=np.float64))
