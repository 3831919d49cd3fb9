"""An exponential running mean, sample by sample; compiled: scipy.signal takes half a second to load."""

import numpy as np
from numba import njit

from listening.audio.sound import FloatArray


@njit(cache=True)
def filtered(values: FloatArray, keep: float, before: float) -> FloatArray:
    """(n,) running mean of `values` (n,): each sample keeps the share `keep` of the one before it.

    `before` is the mean ahead of the first sample: the last one of the block that ended there, or 0.
    """
    found = np.empty_like(values)
    share, mean = 1.0 - keep, before
    for i in range(len(values)):
        mean = share * values[i] + keep * mean
        found[i] = mean
    return found
