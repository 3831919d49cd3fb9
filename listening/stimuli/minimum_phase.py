"""The response with a given magnitude that begins at once."""

import numpy as np
from numpy import fft

from listening.audio.sound import FloatArray


def minimum_phase(magnitude: FloatArray) -> FloatArray:
    """(2 k - 2,) samples of the minimum-phase response with (k,) magnitudes from 0 to half the rate.

    Source: Oppenheim & Schafer, Discrete-Time Signal Processing, the real cepstrum folded to positive time.
    """
    n = 2 * (len(magnitude) - 1)
    cepstrum = fft.irfft(np.log(np.maximum(magnitude, 1e-10)), n)
    fold = np.zeros(n)
    fold[0] = fold[n // 2] = 1.0
    fold[1 : n // 2] = 2.0
    return np.asarray(fft.irfft(np.exp(fft.rfft(cepstrum * fold)), n))
