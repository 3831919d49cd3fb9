"""The spectrum of what rings on after a strike, and the noise in it."""

from dataclasses import dataclass

import numpy as np
from scipy import fft

from listening.audio.sound import FloatArray
from listening.metrics.ringing.modes import Frame

LOWEST_HZ = 100.0  # no mode is looked for below
SHORTEST_RING_S = 0.3  # less recording than this holds no T60 worth the name
MEDIAN_OF_MEAN = float(np.log(2.0))  # median of exponentially distributed power over its mean
LATE_SHARE = 0.25  # of the ring, where its noise is read


@dataclass(eq=False)
class Ring:
    """Spectrum of what rings on."""

    spectrum: np.ndarray
    frame: Frame
    bin_hz: FloatArray
    late: FloatArray
    """power spectrum of the last quarter, scaled to what noise like it would have in `spectrum`"""

    @staticmethod
    def of(samples: FloatArray, rate_hz: int) -> "Ring | None":
        if len(samples) < SHORTEST_RING_S * rate_hz:
            return None
        n = fft.prev_fast_len(len(samples), real=True)
        frame = Frame(n, rate_hz)
        spectrum = fft.rfft(samples[:n])
        return Ring(spectrum, frame, frame.bin_hz(np.arange(len(spectrum))), _late_power(samples[:n]))

    def band(self, low_hz: float, high_hz: float) -> slice:
        edges = np.clip([low_hz, high_hz], LOWEST_HZ / 2, 0.499 * self.frame.rate_hz)
        low, high = np.round(edges * self.frame.n_samples / self.frame.rate_hz).astype(int)
        return slice(int(low), int(high) + 1)

    def late_noise(self, low_hz: float, high_hz: float) -> float:
        """Expected power of a bin of noise like that at the end; lines in it do not count."""
        to_bin = (len(self.late) - 1) / (0.5 * self.frame.rate_hz)
        return float(np.median(self.late[int(low_hz * to_bin) : int(high_hz * to_bin) + 2])) / MEDIAN_OF_MEAN


def _late_power(samples: FloatArray) -> FloatArray:
    late = samples[-max(2, int(LATE_SHARE * len(samples))) :]
    window = np.hanning(len(late))
    return np.asarray(np.abs(fft.rfft(late * window)) ** 2 * (len(samples) / (window**2).sum()))
