"""Programme loudness after ITU-R BS.1770-5 and EBU Tech 3341/3342: LUFS, LU and dBTP of a whole file."""

from dataclasses import dataclass

import numpy as np
import scipy

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import response

OFFSET_DB = -0.691  # BS.1770-5 annex 1, equation (2)
MOMENTARY_S, SHORT_TERM_S = 0.4, 3.0  # EBU Tech 3341
GATING_HOP_S = 0.1  # 75 % overlap of 400 ms blocks
FINE_HOP_S = 0.001  # for maxima; Tech 3341 asks for 0.1 s or less
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
    power = _weighted_power(sound)
    short_terms = _means(power, sound.rate_hz, SHORT_TERM_S, FINE_HOP_S)
    return Programme(
        integrated_lufs=_integrated(power, sound.rate_hz),
        momentary_max_lufs=_momentary_max(power, sound.rate_hz),
        short_term_max_lufs=float(_lufs(short_terms.max())) if len(short_terms) else None,
        range_lu=_range(power, sound.rate_hz),
        true_peak_dbtp=true_peak_dbtp(sound),
    )


def momentary_max_lufs(sound: Sound) -> float:
    """Largest loudness of any 0.4 s, the window moved by 1 ms; a shorter sound is read as the meter would."""
    return _momentary_max(_weighted_power(sound), sound.rate_hz)


def integrated_lufs(sound: Sound) -> float | None:
    """Gated loudness of complete 0.4 s blocks; None when there is none above the gate."""
    return _integrated(_weighted_power(sound), sound.rate_hz)


def range_lu(sound: Sound) -> float | None:
    """Loudness range; None for sounds shorter than 3 s or below the gate. Source: EBU Tech 3342."""
    return _range(_weighted_power(sound), sound.rate_hz)


def course_lufs(sound: Sound, *, window_s: float, hop_s: float = 0.01) -> FloatArray:
    """(k,) loudness of complete windows starting every `hop_s`, ungated; -inf where all is zero."""
    with np.errstate(divide="ignore"):
        return _lufs(_means(_weighted_power(sound), sound.rate_hz, window_s, hop_s))


def true_peak_dbtp(sound: Sound) -> float:
    """Largest magnitude between the samples too, dB re full scale.

    Fourfold interpolation, then a parabola through each summit. Source: BS.1770-5 annex 2.
    """
    _check(sound)
    peaks = [_interpolated_peak(sound.samples[:, c], sound.rate_hz) for c in range(sound.n_channels)]
    return float(20.0 * np.log10(max(peaks)))


def k_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the K weighting: the published 48 kHz filter, held beyond 24 kHz."""
    angle = 2.0 * np.pi * np.minimum(frequency_hz, K_RATE_HZ / 2) / K_RATE_HZ
    _, shelf = scipy.signal.freqz(*SHELF, worN=angle)
    _, high_pass = scipy.signal.freqz(*HIGH_PASS, worN=angle)
    return np.asarray(shelf * high_pass)


def _check(sound: Sound) -> None:
    if not sound.samples.any():
        raise SoundError(f"{sound.name}: all {sound.n_samples} samples are zero; silence has no loudness")
    if sound.n_channels > 6:
        raise SoundError(f"{sound.name}: {sound.n_channels} channels, loudness is defined here for 1 to 6")


def _channel_weights(n_channels: int) -> FloatArray:
    weights = {
        5: [1, 1, 1, SURROUND_WEIGHT, SURROUND_WEIGHT],
        6: [1, 1, 1, 0, SURROUND_WEIGHT, SURROUND_WEIGHT],
    }
    return np.array(weights.get(n_channels, [1] * n_channels), dtype=np.float64)


def _weighted_power(sound: Sound) -> FloatArray:
    _check(sound)
    power = np.zeros(sound.n_samples)
    for c, weight in enumerate(_channel_weights(sound.n_channels)):
        if weight:
            power += weight * response.apply(sound.samples[:, c], sound.rate_hz, k_response) ** 2
    return power


def _means(power: FloatArray, rate_hz: int, window_s: float, hop_s: float) -> FloatArray:
    """(k,) means of complete windows only: a partial one would dilute the tail."""
    window, total = round(window_s * rate_hz), np.concatenate([[0.0], np.cumsum(power)])
    n_windows = int(np.floor((len(power) - window) / (hop_s * rate_hz) + 1e-9)) + 1
    starts = np.round(np.arange(max(n_windows, 0)) * hop_s * rate_hz).astype(np.int64)
    starts = starts[starts + window <= len(power)]
    return np.asarray(np.maximum(total[starts + window] - total[starts], 0.0) / window)


def _lufs(mean_square: FloatArray) -> FloatArray:
    return np.asarray(OFFSET_DB + 10.0 * np.log10(mean_square))


def _momentary_max(power: FloatArray, rate_hz: int) -> float:
    shortest = round(MOMENTARY_S * rate_hz)
    padded = np.pad(power, (0, max(0, shortest - len(power))))
    return float(_lufs(_means(padded, rate_hz, MOMENTARY_S, FINE_HOP_S).max()))


def _gate_power(gate_lufs: float) -> float:
    return float(10.0 ** ((gate_lufs - OFFSET_DB) / 10.0))


def _integrated(power: FloatArray, rate_hz: int) -> float | None:
    blocks = _means(power, rate_hz, MOMENTARY_S, GATING_HOP_S)
    loud = blocks[blocks > _gate_power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = loud[loud > loud.mean() * 10.0 ** (RELATIVE_GATE_LU / 10.0)]
    return float(_lufs(kept.mean()))


def _range(power: FloatArray, rate_hz: int) -> float | None:
    blocks = _means(power, rate_hz, SHORT_TERM_S, GATING_HOP_S)
    loud = blocks[blocks > _gate_power(ABSOLUTE_GATE_LUFS)]
    if not len(loud):
        return None
    kept = _lufs(loud[loud > loud.mean() * 10.0 ** (RANGE_GATE_LU / 10.0)])
    low, high = np.percentile(kept, RANGE_PERCENTILES)
    return float(high - low)


def _interpolated_peak(samples: FloatArray, rate_hz: int) -> float:
    fine = np.abs(response.apply(samples, rate_hz, np.ones_like, times_rate=PEAK_OVERSAMPLING))
    before, at, after = fine[:-2], fine[1:-1], fine[2:]
    summits = (at >= before) & (at >= after) & (at > 0.9 * fine.max())
    before, at, after = before[summits], at[summits], after[summits]
    curvature = np.minimum(before - 2.0 * at + after, -1e-300)
    return float(max(fine.max(), (at - (before - after) ** 2 / (8.0 * curvature)).max(initial=0.0)))
