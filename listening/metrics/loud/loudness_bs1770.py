"""Programme loudness after ITU-R BS.1770-5 and EBU Tech 3341/3342: LUFS, LU and dBTP of a whole file."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import response

IntArray = NDArray[np.int64]

OFFSET_DB = -0.691  # BS.1770-5 annex 1, equation (2)
MOMENTARY_S, SHORT_TERM_S = 0.4, 3.0  # EBU Tech 3341
GATING_HOP_S = 0.1  # 75 % overlap of 400 ms blocks
FINE_HOP_S = 0.001  # for maxima; Tech 3341 asks for 0.1 s or less
MOMENTARY_FINE, SHORT_TERM_FINE = (MOMENTARY_S, FINE_HOP_S), (SHORT_TERM_S, FINE_HOP_S)
GATING, RANGE = (MOMENTARY_S, GATING_HOP_S), (SHORT_TERM_S, GATING_HOP_S)
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
RANGE_GATE_LU = -20.0  # EBU Tech 3342
RANGE_PERCENTILES = (10.0, 95.0)
SURROUND_WEIGHT = 1.41  # left and right surround, BS.1770-5 table 3
PEAK_OVERSAMPLING = 4
# the two stages of the K weighting at 48 kHz, BS.1770-5 tables 1 and 2
K_RATE_HZ = 48_000
SHELF = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
HIGH_PASS = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])


@dataclass(frozen=True)
class Programme:
    """Loudness of a file, its channels summed; None where the sound cannot have the value."""

    integrated_lufs: float | None
    """None: shorter than one 0.4 s block, or all below the gate of -70 LUFS"""
    momentary_max_lufs: float
    short_term_max_lufs: float | None
    """None: shorter than 3 s"""
    range_lu: float | None
    """None: shorter than 3 s or all below the gate; means little under 60 s"""
    true_peak_dbtp: float


def measure(sound: Sound) -> Programme:
    """Everything at once, of all channels together.

    Raises
    ------
    SoundError
        Nothing but zeros, or a number of channels without weights.
    """
    momentary, short_terms, gated, ranged = _means(sound, MOMENTARY_FINE, SHORT_TERM_FINE, GATING, RANGE)
    return Programme(
        integrated_lufs=_integrated(gated),
        momentary_max_lufs=float(_lufs(momentary.max())),
        short_term_max_lufs=float(_lufs(short_terms.max())) if len(short_terms) else None,
        range_lu=_range(ranged),
        true_peak_dbtp=true_peak_dbtp(sound),
    )


def momentary_max_lufs(sound: Sound) -> float:
    """Largest loudness of any 0.4 s, the window moved by 1 ms; a shorter sound is read as the meter would."""
    return float(_lufs(_means(sound, MOMENTARY_FINE)[0].max()))


def integrated_lufs(sound: Sound) -> float | None:
    """Gated loudness of complete 0.4 s blocks; None when there is none above the gate."""
    return _integrated(_means(sound, GATING)[0])


def range_lu(sound: Sound) -> float | None:
    """Loudness range; None for sounds shorter than 3 s or below the gate. Source: EBU Tech 3342."""
    return _range(_means(sound, RANGE)[0])


def course_lufs(sound: Sound, *, window_s: float, hop_s: float = 0.01) -> FloatArray:
    """(k,) loudness of complete windows starting every `hop_s`, ungated; -inf where all is zero."""
    with np.errstate(divide="ignore"):
        return _lufs(_means(sound, (window_s, hop_s))[0])


def true_peak_dbtp(sound: Sound) -> float:
    """Largest magnitude between the samples too, dB re full scale.

    Fourfold interpolation, then a parabola through each summit. Source: BS.1770-5 annex 2.
    """
    _check(sound)
    peaks = [_interpolated_peak(sound, c) for c in range(sound.n_channels)]
    return float(20.0 * np.log10(max(peaks)))


def k_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the K weighting: the published 48 kHz filter, held beyond 24 kHz."""
    delay = np.exp(-2j * np.pi * np.minimum(frequency_hz, K_RATE_HZ / 2) / K_RATE_HZ)
    gains = [
        np.polynomial.polynomial.polyval(delay, above) / np.polynomial.polynomial.polyval(delay, below)
        for above, below in (SHELF, HIGH_PASS)
    ]
    return np.asarray(gains[0] * gains[1])


def _check(sound: Sound) -> None:
    if sound.is_silent:
        raise SoundError(f"{sound.name}: all {sound.n_samples} samples are zero; silence has no loudness")
    if sound.n_channels > 6:
        raise SoundError(f"{sound.name}: {sound.n_channels} channels, loudness is defined here for 1 to 6")


def _channel_weights(n_channels: int) -> FloatArray:
    weights = {
        5: [1, 1, 1, SURROUND_WEIGHT, SURROUND_WEIGHT],
        6: [1, 1, 1, 0, SURROUND_WEIGHT, SURROUND_WEIGHT],
    }
    return np.array(weights.get(n_channels, [1] * n_channels), dtype=np.float64)


def _weighted_power(sound: Sound) -> Iterator[FloatArray]:
    """Mean square of all channels together, sample by sample, block by block."""
    _check(sound)
    weights = {c: float(w) for c, w in enumerate(_channel_weights(sound.n_channels)) if w}
    each = [response.blocks(sound, k_response, channel=c) for c in weights]
    for blocks in zip(*each, strict=True):
        yield np.asarray(sum(w * block**2 for w, block in zip(weights.values(), blocks, strict=True)))


def _means(sound: Sound, *windows: tuple[float, float]) -> list[FloatArray]:
    """For each window and hop, in s, the (k,) means of complete windows: a partial one dilutes the tail.

    A sound shorter than a momentary window is read as if silence followed.
    """
    shortest = round(MOMENTARY_S * sound.rate_hz)
    places = [
        _places(max(sound.n_samples, shortest if w == MOMENTARY_FINE else 0), sound.rate_hz, *w)
        for w in windows
    ]
    wanted = np.unique(np.concatenate([p for starts, length in places for p in (starts, starts + length)]))
    totals = _totals(sound, wanted)
    return [
        np.asarray(
            np.maximum(
                totals[np.searchsorted(wanted, starts + length)] - totals[np.searchsorted(wanted, starts)],
                0.0,
            )
            / length
        )
        for starts, length in places
    ]


def _places(n_samples: int, rate_hz: int, window_s: float, hop_s: float) -> tuple[IntArray, int]:
    """First samples of the complete windows, and how long each is."""
    window = round(window_s * rate_hz)
    n_windows = int(np.floor((n_samples - window) / (hop_s * rate_hz) + 1e-9)) + 1
    starts = np.round(np.arange(max(n_windows, 0)) * hop_s * rate_hz).astype(np.int64)
    return starts[starts + window <= n_samples], window


def _totals(sound: Sound, wanted: IntArray) -> FloatArray:
    """Energy of all samples before each of the places `wanted`, which rise; after the end it stays."""
    found, place, before = np.zeros(len(wanted)), 0, 0.0
    for power in _weighted_power(sound):
        total = before + np.cumsum(power)
        inside = slice(*np.searchsorted(wanted, [place + 1, place + len(power) + 1]))
        found[inside] = total[wanted[inside] - place - 1]
        place, before = place + len(power), float(total[-1])
    found[wanted > place] = before
    return found


def _lufs(mean_square: FloatArray) -> FloatArray:
    return np.asarray(OFFSET_DB + 10.0 * np.log10(mean_square))


def _gate_power(gate_lufs: float) -> float:
    return float(10.0 ** ((gate_lufs - OFFSET_DB) / 10.0))


def _integrated(blocks: FloatArray) -> float | None:
    loud = blocks[blocks > _gate_power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = loud[loud > loud.mean() * 10.0 ** (RELATIVE_GATE_LU / 10.0)]
    return float(_lufs(kept.mean()))


def _range(blocks: FloatArray) -> float | None:
    loud = blocks[blocks > _gate_power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = _lufs(loud[loud > loud.mean() * 10.0 ** (RANGE_GATE_LU / 10.0)])
    low, high = np.percentile(kept, RANGE_PERCENTILES)
    return float(high - low)


def _interpolated_peak(sound: Sound, channel: int) -> float:
    """Of the fourfold samples within 1 dB of the largest, the summit of the parabola through each."""
    highest, summits = 0.0, [(0.0, 0.0)]
    before = np.zeros(2)
    for block in response.blocks(sound, np.ones_like, channel=channel, times_rate=PEAK_OVERSAMPLING):
        fine = np.concatenate([before, np.abs(block)]) if highest else np.abs(block)
        highest = max(highest, float(fine.max()))
        left, at, right = fine[:-2], fine[1:-1], fine[2:]
        is_summit = (at >= left) & (at >= right) & (at > 0.9 * highest)
        left, at, right = left[is_summit], at[is_summit], right[is_summit]
        curvature = np.minimum(left - 2.0 * at + right, -1e-300)
        tops = at - (left - right) ** 2 / (8.0 * curvature)
        summits += [(float(at[i]), float(tops[i])) for i in np.argsort(tops)[-1:]]
        before = fine[-2:]
    return max([highest, *(top for at, top in summits if at > 0.9 * highest)])
