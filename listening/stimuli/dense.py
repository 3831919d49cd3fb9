"""Ringing whose modes are too dense to be told apart, weighted as a whole.

From just after the strike on all of it goes through one filter whose gains do not change: every partial keeps
its frequency and its decay. The strike's first instants stay as they were recorded.
"""

import numpy as np
import scipy
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics.ringing.mode_ring import LOWEST_HZ
from listening.stimuli.crowded import KEPT_S, Peak

WHOLE_S = 0.03  # after the strike, from when all that sounds is ringing
FROM_S, STRETCH_S = 0.05, 1.0  # after the strike, where the lines are looked for
HIGHEST_HZ = 16_000.0
HALF_LINE_HZ = 25.0  # of the band that a line's decay is read from
APART_HZ = 150.0  # no second line within
MOST_LINES, WEAKEST_DB = 12, -40.0  # re the strongest


def ringing(sound: Sound, onset_s: float) -> FloatArray:
    """(n,) the ringing of a one-channel sound: nothing until 10 ms after the strike, all from 30 ms on."""
    since_s = np.arange(sound.n_samples) / sound.rate_hz - onset_s
    share = np.clip((since_s - KEPT_S) / (WHOLE_S - KEPT_S), 0.0, 1.0)
    return np.asarray(sound.samples[:, 0] * np.sin(0.5 * np.pi * share) ** 2)


def lines(sound: Sound, onset_s: float) -> tuple[Peak, ...]:
    """The strongest lines of the ringing's spectrum, as narrow bands that decays are read from."""
    start = round((onset_s + FROM_S) * sound.rate_hz)
    stretch = sound.samples[start : start + round(STRETCH_S * sound.rate_hz), 0]
    n = fft.next_fast_len(len(stretch), real=True)
    window = scipy.signal.windows.hann(len(stretch), sym=False)
    power = np.abs(fft.rfft(stretch * window, n)) ** 2
    bin_hz = np.arange(len(power)) * (sound.rate_hz / n)
    power[(bin_hz < LOWEST_HZ + HALF_LINE_HZ) | (bin_hz > min(HIGHEST_HZ, 0.45 * sound.rate_hz))] = 0.0
    weakest = float(power.max()) * 10 ** (WEAKEST_DB / 10)
    found: list[Peak] = []
    while len(found) < MOST_LINES and power.max() > weakest:
        hz = float(bin_hz[np.argmax(power)])
        found.append(Peak(hz - HALF_LINE_HZ, hz + HALF_LINE_HZ, hz, float(power.max()), 0.0))
        power[np.abs(bin_hz - hz) < APART_HZ] = 0.0
    return tuple(found)
