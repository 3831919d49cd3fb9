"""Peaks whose modes lie too close to be told apart, each moved as a whole with what lies around it.

A band around the peak is demodulated and played slower or faster from just after the strike on. Every
envelope in it, beating or bent as it may be, then takes so many times as long; the noise keeps its strength.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy import fft, ndimage

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.ringing.mode_ring import LOWEST_HZ
from listening.metrics.ringing.modes import LN_1000, Modes
from listening.metrics.striking import decay, onset

GAP_HZ = 25.0  # modes closer than this to their neighbour belong to one peak
MARGIN_HZ = 60.0  # of the band beyond its outermost modes
EDGE_HZ = 20.0  # over which a band sets in
SHORTEST_T60_S = 0.3  # so that 5 dB are not lost within what is kept, 10 ms, and the band settles in, 10 ms
RISE_S = 0.002
KEPT_S = 0.01  # after the strike everything stays as it was recorded
FADE_S = 0.1  # at the end of the recording, where a faster playback reaches it
LARGEST_DETUNING = 0.003  # share of its frequency that a mode may move by, about 5 hundredths of a semitone
AUDIBLE_DB = 20.0  # re the strongest of its peak; a weaker mode may move farther
END_DB = 40.0  # below the loudest moment, at the end of the recording, for a shorter decay
TOP_DB, BOTTOMS_DB = 5.0, (25.0, 20.0, 15.0)  # ranges of the decay, the longest that both sounds have
LAST_FRAMES, FEWEST_FRAMES = 5, 10  # of 10 ms: the recording's end, and what bears a straight line


@dataclass(frozen=True)
class Peak:
    """A band that is moved as a whole."""

    low_hz: float
    high_hz: float
    centre_hz: float
    """Of its strongest mode, which keeps its frequency."""
    energy: float
    reach_hz: float
    """From the centre to the farthest mode that counts."""


def peaks(modes: Modes) -> tuple[Peak, ...]:
    """The bands that the modes fall into, the one with the most energy first.

    Rumble is none of them, nor what dies away before its band has settled: it belongs to the strike.
    """
    inside = modes.subset(modes.frequency_hz > LOWEST_HZ)
    if not len(inside):
        return ()
    order = np.argsort(inside.frequency_hz)
    groups = np.split(order, np.flatnonzero(np.diff(inside.frequency_hz[order]) > GAP_HZ) + 1)
    parts = [inside.subset(group) for group in groups]
    made = [_peak(part, *limits) for part, limits in zip(parts, _limits(parts), strict=True)]
    lasting = [
        peak for peak, part in zip(made, parts, strict=True) if _strongest_t60_s(part) > SHORTEST_T60_S
    ]
    return tuple(sorted(lasting, key=lambda p: -p.energy))


def _strongest_t60_s(modes: Modes) -> float:
    energy = np.abs(modes.amplitude) ** 2 / modes.decay_per_s
    return LN_1000 / float(modes.decay_per_s[np.argmax(energy)])


def _limits(parts: list[Modes]) -> list[tuple[float, float]]:
    """Where each band is open; neighbours closer than their margins pass into each other half-way."""
    lowest = np.array([part.frequency_hz.min() for part in parts])
    highest = np.array([part.frequency_hz.max() for part in parts])
    half = np.minimum((lowest[1:] - highest[:-1] - EDGE_HZ) / 2, MARGIN_HZ)
    below, above = np.append(MARGIN_HZ, half), np.append(half, MARGIN_HZ)
    return list(zip((lowest - below).tolist(), (highest + above).tolist(), strict=True))


def _peak(modes: Modes, low_hz: float, high_hz: float) -> Peak:
    energy = np.abs(modes.amplitude) ** 2 / modes.decay_per_s
    centre_hz = float(modes.frequency_hz[np.argmax(energy)])
    counts = energy > energy.max() * 10 ** (-AUDIBLE_DB / 10)
    return Peak(
        low_hz=low_hz,
        high_hz=high_hz,
        centre_hz=centre_hz,
        energy=float(energy.sum()),
        reach_hz=float(np.abs(modes.frequency_hz[counts] - centre_hz).max()),
    )


def ringing(sound: Sound, onset_s: float, found: tuple[Peak, ...]) -> FloatArray:
    """(n,) what the peaks' bands of a one-channel sound hold from the strike on."""
    return moved(sound, onset_s, found, np.ones(len(found)))


def moved(sound: Sound, onset_s: float, found: tuple[Peak, ...], factor: FloatArray) -> FloatArray:
    """(n,) the same with the damping of each peak multiplied by its (k,) factor.

    Raises
    ------
    SoundError
        A mode would be detuned, or the recording ends too early for a shorter decay.
    """
    total = np.zeros(sound.n_samples)
    for peak, times, band in zip(found, factor, _bands(sound, found), strict=True):
        if times != 1.0:
            _check_detuning(peak, float(times), sound.name)
            band = _stretched(band, sound.rate_hz, onset_s, peak.centre_hz, float(times))
        total += band.real
    if (factor > 1).any():
        _check_end(sound, onset_s)
    return total * _from_strike(sound, onset_s)


def t60_s(
    before: Sound, after: Sound, onset_s: float, found: tuple[Peak, ...]
) -> list[tuple[float, float] | None]:
    """T60 of each peak in two sounds, over the same fall of both; None where noise hides it.

    From 5 to 25 dB down on the backward integral of the band's energy; where the recording ends before, that
    integral lacks its end, and a straight line through the level takes its place, to 25, 20 or 15 dB down.
    """
    start = round(onset_s * before.rate_hz)
    both = zip(_bands(before, found), _bands(after, found), strict=True)
    return [_both_t60_s([band.real[start:] for band in bands], before.rate_hz) for bands in both]


def _both_t60_s(bands: list[FloatArray], rate_hz: int) -> tuple[float, float] | None:
    courses = [_level_db(band, rate_hz) for band in bands]
    if (
        min(-float(course[-LAST_FRAMES:].max()) for course in courses)
        > BOTTOMS_DB[0] + decay.NOISE_DISTANCE_DB
    ):
        curves = [decay.curve(band, rate_hz) for band in bands]
        return _if_both([decay.time_for_60_db(c, TOP_DB, BOTTOMS_DB[0]) for c in curves])
    lines = (_if_both([_line_s(course, bottom) for course in courses]) for bottom in BOTTOMS_DB)
    return next((line for line in lines if line is not None), None)


def _if_both(times_s: list[float | None]) -> tuple[float, float] | None:
    before, after = times_s
    return None if before is None or after is None else (before, after)


def _level_db(band: FloatArray, rate_hz: int) -> FloatArray:
    """(k,) level of each 10 ms, 0 the strongest."""
    rms = onset.envelope(band, round(decay.FRAME_S * rate_hz))
    return np.asarray(20 * np.log10(np.maximum(rms, 1e-300) / rms.max()))


def _line_s(level_db: FloatArray, bottom_db: float) -> float | None:
    """60 dB by the straight line between the last time at TOP_DB down and the last at `bottom_db` down."""
    first, last = (int(np.flatnonzero(level_db > -down)[-1]) + 1 for down in (TOP_DB, bottom_db))
    if last >= len(level_db) or last - first < FEWEST_FRAMES:
        return None
    slope = np.polyfit(np.arange(first, last) * decay.FRAME_S, level_db[first:last], 1)[0]
    return float(-60.0 / slope) if slope < 0 else None


def _bands(sound: Sound, found: tuple[Peak, ...]) -> Iterator[np.ndarray]:
    """The analytic signal of each band, without delay."""
    n = fft.next_fast_len(sound.n_samples + sound.rate_hz // 2, real=True)
    spectrum = fft.rfft(sound.samples[:, 0], n)
    bin_hz = np.arange(len(spectrum)) * (sound.rate_hz / n)
    for peak in found:
        edges = [peak.low_hz - EDGE_HZ, peak.low_hz, peak.high_hz, peak.high_hz + EDGE_HZ]
        gain = np.sin(0.5 * np.pi * np.interp(bin_hz, edges, [0.0, 1.0, 1.0, 0.0])) ** 2
        whole = np.zeros(n, dtype=complex)
        whole[: len(spectrum)] = 2.0 * gain * spectrum
        yield fft.ifft(whole)[: sound.n_samples]


def _stretched(band: np.ndarray, rate_hz: int, onset_s: float, centre_hz: float, factor: float) -> np.ndarray:
    """The band with its envelope `factor` times as fast, its centre where it was."""
    index = np.arange(len(band))
    turn = np.exp(-2j * np.pi * centre_hz / rate_hz * index)
    kept = (onset_s + KEPT_S) * rate_hz
    source = np.where(index < kept, index, kept + (index - kept) * factor)
    slow = band * turn * (_faded_end(len(band), rate_hz) if factor > 1 else 1.0)
    parts = [ndimage.map_coordinates(part, [source], order=3) for part in (slow.real, slow.imag)]
    return np.asarray((parts[0] + 1j * parts[1]) * np.conj(turn))


def _faded_end(n: int, rate_hz: int) -> FloatArray:
    left_s = (n - 1 - np.arange(n)) / rate_hz
    return np.asarray(np.sin(0.5 * np.pi * np.minimum(left_s / FADE_S, 1.0)) ** 2)


def _from_strike(sound: Sound, onset_s: float) -> FloatArray:
    """(n,) 0 before the strike, 1 from it on: a band without delay rings before it too."""
    time_s = np.arange(sound.n_samples) / sound.rate_hz - onset_s
    return np.asarray(np.clip(time_s / RISE_S + 1.0, 0.0, 1.0))


def _check_detuning(peak: Peak, factor: float, name: str) -> None:
    share = peak.reach_hz * abs(factor - 1.0) / peak.centre_hz
    if share > LARGEST_DETUNING:
        allowed = LARGEST_DETUNING * peak.centre_hz / peak.reach_hz
        raise SoundError(
            f"{name}: the modes around {peak.centre_hz:.0f} Hz lie too close to be moved one by one, and "
            f"together they would be detuned by {100 * share:.2f} %, {100 * LARGEST_DETUNING:g} % allowed; "
            f"ask for a T60 between {1 / (1 + allowed):.2f} and {1 / max(1 - allowed, 1e-3):.2f} times its "
            "own, or take another recording apart"
        )


def _check_end(sound: Sound, onset_s: float) -> None:
    start, frame = round(onset_s * sound.rate_hz), round(FADE_S * sound.rate_hz)
    strike, end = sound.samples[start : start + frame], sound.samples[-frame:]
    down_db = 10 * np.log10(max(float((strike**2).sum()), 1e-300) / max(float((end**2).sum()), 1e-300))
    if down_db < END_DB:
        raise SoundError(
            f"{sound.name}: ends {down_db:.0f} dB below its strike, {END_DB:.0f} dB wanted to let it die "
            "away sooner; record longer, until it is silent"
        )
