"""When a strike begins."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from listening.audio.sound import FloatArray, Sound
from listening.metrics.level import check_not_silent

FRAME_S = 0.001
RUMBLE_HZ = 50.0  # handling and building noise lies below, no struck product starts there
BELOW_PEAK_DB = 26.0  # an onset is within this of the loudest millisecond
RING_S = 0.25  # the high-pass falls by e in 4.5 ms: to 1e-24 of its peak in so long
ABOVE_NOISE_DB = 10.0
SEARCH_BACK_S = 0.05


@dataclass(frozen=True)
class Onset:
    """Start of the loudest strike and what was there before."""

    time_s: float
    noise_rms: float | None
    """rms pressure before the strike; None when less than 20 ms of it were recorded, or exact zeros"""


def find(sound: Sound) -> Onset:
    """Instant at which the strike that holds the loudest millisecond begins, to about 1 ms.

    Raises
    ------
    SoundError
        Several channels or silence.
    """
    check_not_silent(sound)
    quick = _without_rumble(sound)
    frame = max(1, round(FRAME_S * sound.rate_hz))
    frame_rms = envelope(quick, frame)
    peak = int(np.argmax(frame_rms))
    threshold = _threshold(frame_rms, peak)
    first = _first_frame(frame_rms, peak, threshold)
    start = _first_sample(quick, first * frame, frame, threshold)
    return Onset(
        time_s=start / sound.rate_hz, noise_rms=_noise_rms(sound.only_channel(), start, sound.rate_hz)
    )


def envelope(samples: FloatArray, frame: int) -> FloatArray:
    """(n // frame,) rms of consecutive frames of `frame` samples; at least one."""
    n_frames = max(1, len(samples) // frame)
    whole = np.resize(samples, frame) if len(samples) < frame else samples[: n_frames * frame]
    return np.asarray(np.sqrt((whole.reshape(n_frames, -1) ** 2).mean(axis=1)))


def _without_rumble(sound: Sound) -> FloatArray:
    """The samples through a second-order Butterworth high-pass, as the recursion would have them.

    Over the spectrum it needs no scipy.signal, which takes half a second to load.
    """
    samples = sound.only_channel()
    n = fft.next_fast_len(len(samples) + round(RING_S * sound.rate_hz), real=True)
    spectrum = fft.rfft(samples - samples[0], n) * _high_pass(n, sound.rate_hz)
    return np.asarray(fft.irfft(spectrum, n)[: len(samples)])


@lru_cache(maxsize=4)  # the recordings of a study are of a few lengths
def _high_pass(n: int, rate_hz: int) -> NDArray[np.complex128]:
    """(n // 2 + 1,) response at the frequencies of n samples, by the bilinear transform."""
    z = np.exp(-2j * np.pi * np.arange(n // 2 + 1) / n)
    k = np.tan(np.pi * RUMBLE_HZ / rate_hz)
    below = (1 + np.sqrt(2) * k + k * k) + 2 * (k * k - 1) * z + (1 - np.sqrt(2) * k + k * k) * z * z
    return np.asarray((1 - z) ** 2 / below)


def _threshold(frame_rms: FloatArray, peak: int) -> float:
    wanted = frame_rms[peak] * 10.0 ** (-BELOW_PEAK_DB / 20.0)
    if peak < 20:
        return float(wanted)
    noise = float(np.median(frame_rms[: max(1, peak - 10)]))
    return float(min(max(wanted, noise * 10.0 ** (ABOVE_NOISE_DB / 20.0)), 0.5 * frame_rms[peak]))


def _first_frame(frame_rms: FloatArray, peak: int, threshold: float) -> int:
    """Walk back from the peak while the last 5 ms still hold something above the threshold."""
    earliest = max(0, peak - round(SEARCH_BACK_S / FRAME_S))
    first = peak
    for frame in range(peak, earliest - 1, -1):
        if frame_rms[frame] >= threshold:
            first = frame
        elif first - frame > 5:
            break
    return first


def _first_sample(samples: FloatArray, start: int, frame: int, threshold: float) -> int:
    near = np.abs(samples[max(0, start - frame) : start + frame])
    return max(0, start - frame) + int(np.argmax(near >= threshold)) if (near >= threshold).any() else start


def _noise_rms(samples: FloatArray, start: int, rate_hz: int) -> float | None:
    guard = round(0.002 * rate_hz)
    before = samples[: max(0, start - guard)]
    if len(before) < round(0.02 * rate_hz) or not before.any():
        return None
    return float(np.std(before))
