"""When a strike begins."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy import fft
from numpy.typing import NDArray

from listening.audio.sound import FloatArray, Sound
from listening.metrics import fast_length
from listening.metrics.level import check_not_silent

FRAME_S = 0.001
RUMBLE_HZ = 50.0  # handling and building noise lies below, no struck product starts there
RING_S = 0.25  # the high-pass falls by e in 4.5 ms: to 1e-24 of its peak in so long
BELOW_PEAK_DB = 26.0  # an onset is within this of the loudest millisecond
SWELLING_DB = 40.0  # that of a sound that only swells, as a bowl does whose beat begins in a null
AT_ONCE_DB = 12.0  # re the loudest millisecond, that a strike reaches at once and what swells does not
NULL_S = 0.1  # a sound that only swells after a shorter quiet is a beat of the strike before
MOST_NULLS = 3  # gone back over: the loudest moment of a decaying beat follows its first or second
ABOVE_NOISE_DB = 10.0
STILL_DB = 4.0  # over the floor: less is no sound any more
HEAD_FRAMES = 3  # of a file, that show what was before it
QUIET_S = 0.02  # so long without sound, and what comes is another one
LOWEST_FLOOR_DB = -60.0  # re the loudest millisecond: digital silence is no floor
# a strike rises at once; beating rises slowly, or so often that the 30 ms before hold a summit as well
RISE_DB = 6.0
RISE_BEFORE_S, RISE_AFTER_S = 0.03, 0.01
JUMP_FRAMES = round(RISE_AFTER_S / FRAME_S)
OVER_SUMMIT = 2.0**0.5  # of the loudest before: there the new strike takes over
MEDIANS_AT_ONCE = 2**15  # of 20 ms each: bounds the memory that a long recording takes
BOUNCE_S = 0.04  # bounces within this belong to the strike


@dataclass(frozen=True)
class Onset:
    """Start of the loudest strike and what was there before."""

    time_s: float
    noise_rms: float | None
    """rms pressure before the strike; None when less than 20 ms of it were recorded, or exact zeros"""


def find(sound: Sound) -> Onset:
    """Instant at which the strike that holds the loudest millisecond begins, to about 1 ms.

    The sound that this millisecond belongs to is followed back to where it leaves the noise floor, over
    slow growth and beats; within it the last instant at which the level jumps is the strike.

    Raises
    ------
    SoundError
        Several channels or silence.
    """
    check_not_silent(sound)
    frame = max(1, round(FRAME_S * sound.rate_hz))
    frame_rms = frames((without_rumble(sound, *span) for span in sound.spans()), frame)
    peak = int(np.argmax(frame_rms))
    begin = _swelled_from(frame_rms, peak)
    threshold = _threshold(frame_rms, peak, begin)
    first, level = _strike(frame_rms, begin, peak, threshold)
    near = max(0, (first - 1) * frame)
    start = _first_sample(without_rumble(sound, near, (first + 1) * frame), level)
    start = first * frame if start is None else near + start
    return Onset(time_s=start / sound.rate_hz, noise_rms=_noise_rms(sound, start))


def jumps(frame_rms: FloatArray, first: int, last: int) -> np.ndarray:
    """(k,) frames `first` to `last` at which a strike begins: more within 10 ms than in the 30 ms before."""
    before, after = round(RISE_BEFORE_S / FRAME_S), round(RISE_AFTER_S / FRAME_S)
    index = np.arange(max(first, 1), last + 1)
    if not len(index):
        return index
    padded = np.concatenate([np.zeros(before), frame_rms, np.zeros(after)])
    begin, end = int(index[0]), int(index[-1]) + 1
    summit = np.lib.stride_tricks.sliding_window_view(padded, before)[begin:end].max(axis=1)
    later = np.lib.stride_tricks.sliding_window_view(padded, after)[begin + before : end + before]
    ahead = later.max(axis=1)
    return np.asarray(index[ahead > summit * 10.0 ** (RISE_DB / 20.0)])


def envelope(samples: FloatArray, frame: int) -> FloatArray:
    """(n // frame,) rms of consecutive frames of `frame` samples; at least one."""
    n_frames = max(1, len(samples) // frame)
    whole = np.resize(samples, frame) if len(samples) < frame else samples[: n_frames * frame]
    return np.asarray(np.sqrt((whole.reshape(n_frames, -1) ** 2).mean(axis=1)))


def frames(blocks: Iterable[FloatArray], frame: int) -> FloatArray:
    """The same of samples that come in blocks of any length."""
    found: list[FloatArray] = []
    rest = np.empty(0)
    for block in blocks:
        joined = np.concatenate([rest, block]) if len(rest) else block
        whole = len(joined) // frame * frame
        if whole:
            found.append(envelope(joined[:whole], frame))
        rest = joined[whole:]
    return np.concatenate(found) if found else envelope(rest, frame)


def without_rumble(sound: Sound, start: int = 0, stop: int | None = None) -> FloatArray:
    """Samples `start` to `stop` of the pressure through a second-order Butterworth high-pass of 50 Hz.

    As the recursion would have them; over the spectrum it needs no scipy.signal, which takes half a second
    to load.
    """
    lead = round(RING_S * sound.rate_hz)
    low = max(0, start - lead)
    samples = sound.pressure_between(low, sound.n_samples if stop is None else stop)
    n = fast_length.at_least(len(samples) + lead)
    spectrum = fft.rfft(samples - sound.pressure_between(0, 1)[0], n) * _high_pass(n, sound.rate_hz)
    return np.asarray(fft.irfft(spectrum, n)[start - low : len(samples)])


@lru_cache(maxsize=4)  # the recordings of a study are of a few lengths
def _high_pass(n: int, rate_hz: int) -> NDArray[np.complex128]:
    """(n // 2 + 1,) response at the frequencies of n samples, by the bilinear transform."""
    z = np.exp(-2j * np.pi * np.arange(n // 2 + 1) / n)
    k = np.tan(np.pi * RUMBLE_HZ / rate_hz)
    below = (1 + np.sqrt(2) * k + k * k) + 2 * (k * k - 1) * z + (1 - np.sqrt(2) * k + k * k) * z * z
    return np.asarray((1 - z) ** 2 / below)


def _swelled_from(frame_rms: FloatArray, peak: int) -> int:
    """First frame of the sound that holds the peak; where it only swells after a short quiet, of that before.

    A beat's null sinks into the noise for a moment, and what swells out of it is no strike.
    """
    begin, floor = _begin(frame_rms, peak)
    for _ in range(MOST_NULLS):
        if begin == 0 or not _swells(frame_rms, begin, peak):
            break
        loud = np.flatnonzero(frame_rms[: begin - 1] >= floor * 10.0 ** (ABOVE_NOISE_DB / 20.0))
        if not len(loud) or (begin - loud[-1]) * FRAME_S > NULL_S:
            break
        begin, floor = _begin(frame_rms, int(loud[-1]) + 1)
    return begin


def _begin(frame_rms: FloatArray, peak: int) -> tuple[int, float]:
    """First frame of the sound that holds the peak, and the floor: 20 ms at it lie before, or nothing.

    A file that begins less than 20 ms before its strike has no such stretch, and its ringing, even as it may
    be, is no floor: where the first 3 ms lie far below all that follows, the time before the file is as they.
    """
    width = round(QUIET_S / FRAME_S)
    lowest = frame_rms[peak] * 10.0 ** (LOWEST_FLOOR_DB / 20.0)
    if peak <= width:
        return 0, lowest
    windows = np.lib.stride_tricks.sliding_window_view(frame_rms[:peak], width)
    floor = min(
        float(np.median(windows[i : i + MEDIANS_AT_ONCE], axis=1).min())
        for i in range(0, len(windows), MEDIANS_AT_ONCE)
    )
    head = float(np.median(frame_rms[:HEAD_FRAMES]))
    offset = width
    if head * 10.0 ** (ABOVE_NOISE_DB / 20.0) < floor:
        before = np.concatenate([np.full(width, head), frame_rms[:peak]])
        windows = np.lib.stride_tricks.sliding_window_view(before, width)
        floor, offset = head, 0
    floor = max(floor, lowest)
    still = windows.max(axis=1) < floor * 10.0 ** (STILL_DB / 20.0)
    return (int(np.flatnonzero(still)[-1]) + offset if still.any() else 0), floor


def _threshold(frame_rms: FloatArray, peak: int, begin: int) -> float:
    swells = _swells(frame_rms, begin, peak)
    wanted = frame_rms[peak] * 10.0 ** (-(SWELLING_DB if swells else BELOW_PEAK_DB) / 20.0)
    before = frame_rms[: max(0, begin - 1)]
    if len(before) < 10:
        return float(wanted)
    noise = float(np.median(before))
    return float(min(max(wanted, noise * 10.0 ** (ABOVE_NOISE_DB / 20.0)), 0.5 * frame_rms[peak]))


def _swells(frame_rms: FloatArray, begin: int, peak: int) -> bool:
    """Whether no jump from `begin` to the peak comes near it at once."""
    near = frame_rms[peak] * 10.0 ** (-AT_ONCE_DB / 20.0)
    return not any(frame_rms[i : i + JUMP_FRAMES].max() >= near for i in jumps(frame_rms, begin, peak))


def _strike(frame_rms: FloatArray, begin: int, peak: int, threshold: float) -> tuple[int, float]:
    """First frame of the strike, and the level it is known by: that of the last jump up to the peak.

    Where the sound only swells it is the first frame above the threshold.
    """
    loud = [i for i in jumps(frame_rms, begin, peak) if frame_rms[i : i + JUMP_FRAMES].max() >= threshold]
    found = [] if _swells(frame_rms, begin, peak) else loud
    start = begin if not found else _group_start(found)
    before = frame_rms[max(0, start - round(RISE_BEFORE_S / FRAME_S)) : start]
    over = OVER_SUMMIT * float(before.max(initial=0.0)) if found else 0.0
    level = min(max(threshold, over), float(frame_rms[peak]))
    above = np.flatnonzero(frame_rms[start : peak + 1] >= level)
    return (start + int(above[0]) if len(above) else peak), level


def _group_start(found: list[int]) -> int:
    """First of the frames that belong to the last jump."""
    start = found[-1]
    for i in reversed(found):
        if start - i > round(BOUNCE_S / FRAME_S):
            break
        start = i
    return int(start)


def _first_sample(samples: FloatArray, threshold: float) -> int | None:
    """Place of the first sample that reaches the threshold; None where none does."""
    above = np.abs(samples) >= threshold
    return int(np.argmax(above)) if above.any() else None


def _noise_rms(sound: Sound, start: int) -> float | None:
    stop = start - round(0.002 * sound.rate_hz)
    if stop < round(0.02 * sound.rate_hz):
        return None
    mean = sum(float(block.sum()) for block in sound.pressure_blocks(0, stop)) / stop
    if not any(block.any() for block in sound.pressure_blocks(0, stop)):
        return None
    squared = sum(float(((block - mean) ** 2).sum()) for block in sound.pressure_blocks(0, stop))
    return float(np.sqrt(squared / stop))
