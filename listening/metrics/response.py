"""A filter given by its frequency response, applied to a whole sound at once.

Applying the analogue response to the spectrum has no frequency warping: the result is what the analogue
filter gives for the band-limited sound, at any sample rate.
"""

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray

RING_S = 0.5  # room for the filter to ring out; our slowest pole (20.6 Hz) is then down by 560 dB

Response = Callable[[FloatArray], np.ndarray]
"""frequencies in Hz, (k,) -> complex gain, (k,)"""


def apply(samples: FloatArray, rate_hz: int, response: Response, *, times_rate: int = 1) -> FloatArray:
    """(n * times_rate,) samples behind `response`, interpolated to `times_rate` times the rate.

    `samples` is (n,). What rings on after the end is cut off.
    """
    n_padded = fft.next_fast_len(len(samples) + round(RING_S * rate_hz), real=True)
    spectrum = fft.rfft(samples, n_padded)
    spectrum *= _gains(response, n_padded, rate_hz)
    filtered = fft.irfft(spectrum, n_padded * times_rate) * times_rate
    return np.asarray(filtered[: len(samples) * times_rate], dtype=np.float64)


@lru_cache(maxsize=8)  # the recordings of a study are of a few lengths
def _gains(response: Response, n: int, rate_hz: int) -> np.ndarray:
    return response(fft.rfftfreq(n, 1.0 / rate_hz))
