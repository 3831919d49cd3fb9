"""Sound levels after IEC 61672-1:2013: weightings A, C, Z, time weightings F and S, exposure and peak."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import response

# pole frequencies of the weightings, IEC 61672-1:2013 annex E
POLE_1_HZ, POLE_2_HZ, POLE_3_HZ, POLE_4_HZ = 20.598997, 107.65265, 737.86223, 12194.217
TIME_CONSTANT_S = {"F": 0.125, "S": 1.0}  # IEC 61672-1:2013, 5.8
PEAK_OVERSAMPLING = 4


@dataclass(frozen=True)
class Levels:
    """Levels of one channel, dB re 20 µPa or, not calibrated, dB re full scale."""

    laf_max_db: float
    las_max_db: float
    la_eq_db: float
    lae_db: float
    lz_eq_db: float
    lc_peak_db: float
    calibrated: bool


def measure(sound: Sound) -> Levels:
    """All levels of a one-channel sound.

    Raises
    ------
    SoundError
        Several channels, or nothing but zeros: silence has no level.
    """
    check_not_silent(sound)
    fast, slow = _RunningMean(sound.rate_hz, "F"), _RunningMean(sound.rate_hz, "S")
    total_a, laf, las = 0.0, 0.0, 0.0
    for block in weighted(sound, "A"):
        a_squared = block**2
        total_a += float(a_squared.sum())
        laf = max(laf, float(fast.of(a_squared).max()))
        las = max(las, float(slow.of(a_squared).max()))
    total_z = sum(float((block**2).sum()) for block in sound.pressure_blocks())
    return Levels(
        laf_max_db=_power_db(laf, sound),
        las_max_db=_power_db(las, sound),
        la_eq_db=_power_db(total_a / sound.n_samples, sound),
        lae_db=_power_db(total_a / sound.n_samples * sound.duration_s, sound),
        lz_eq_db=_power_db(total_z / sound.n_samples, sound),
        lc_peak_db=_power_db(_peak(sound) ** 2, sound),
        calibrated=sound.calibrated,
    )


def laf_max_db(sound: Sound) -> float:
    """Largest A-weighted level with time weighting F of a one-channel sound."""
    check_not_silent(sound)
    return max(float(block.max()) for block in course_blocks_db(sound))


def course_db(sound: Sound, *, weighting: str = "A", speed: str = "F") -> FloatArray:
    """(n,) level over time, e.g. LAF; starts from rest at the first sample."""
    return np.concatenate(list(course_blocks_db(sound, weighting=weighting, speed=speed)))


def course_blocks_db(sound: Sound, *, weighting: str = "A", speed: str = "F") -> Iterator[FloatArray]:
    """The same block by block."""
    running = _RunningMean(sound.rate_hz, speed)
    floor = (sound.reference * 1e-15) ** 2  # keeps exact zeros finite: -300 dB
    for block in weighted(sound, weighting):
        power = np.maximum(running.of(block**2), floor)
        yield np.asarray(10.0 * np.log10(power / sound.reference**2))


def a_weighted_exposure(sound: Sound) -> FloatArray:
    """(channels,) time integral of the squared A-weighted pressure, Pa²s (or full scale² s)."""
    unit = sound.pascal_per_full_scale or 1.0
    energies = [
        sum(float((block**2).sum()) for block in response.blocks(sound, RESPONSES["A"], channel=c, unit=unit))
        / sound.rate_hz
        for c in range(sound.n_channels)
    ]
    return np.asarray(energies)


def weighted(sound: Sound, weighting: str) -> Iterator[FloatArray]:
    """Pressure of a one-channel sound behind the weighting "A", "C" or "Z", block by block.

    At any rate, without warping.
    """
    if weighting == "Z":
        return sound.pressure_blocks()
    sound.check_one_channel()
    return response.blocks(sound, RESPONSES[weighting], unit=sound.pascal_per_full_scale or 1.0)


def a_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the A weighting, 0 dB at 1 kHz. Source: IEC 61672-1:2013 annex E."""
    return np.asarray(_a_shape(frequency_hz) / abs(_a_shape(np.array([1000.0]))[0]))


def c_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the C weighting, 0 dB at 1 kHz. Source: IEC 61672-1:2013 annex E."""
    return np.asarray(_c_shape(frequency_hz) / abs(_c_shape(np.array([1000.0]))[0]))


RESPONSES = {"A": a_response, "C": c_response}


def check_not_silent(sound: Sound) -> None:
    """Refuse a sound of nothing but zeros."""
    if sound.is_silent:
        raise SoundError(
            f"{sound.name}: all {sound.n_samples} samples are zero; silence has no level to measure"
        )


def _c_shape(frequency_hz: FloatArray) -> np.ndarray:
    s = 1j * frequency_hz
    return np.asarray(s**2 / ((s + POLE_1_HZ) ** 2 * (s + POLE_4_HZ) ** 2))


def _a_shape(frequency_hz: FloatArray) -> np.ndarray:
    s = 1j * frequency_hz
    return np.asarray(_c_shape(frequency_hz) * s**2 / ((s + POLE_2_HZ) * (s + POLE_3_HZ)))


class _RunningMean:
    """Exponential time weighting from rest, whose state goes on from block to block."""

    def __init__(self, rate_hz: int, speed: str) -> None:
        self._keep = float(np.exp(-1.0 / (rate_hz * TIME_CONSTANT_S[speed])))
        self._mean = 0.0

    def of(self, squared: FloatArray) -> FloatArray:
        from listening.metrics import running_mean  # which loads numba

        found = running_mean.filtered(squared, self._keep, self._mean)
        self._mean = float(found[-1]) if len(found) else self._mean
        return np.asarray(found)


def _peak(sound: Sound) -> float:
    unit = sound.pascal_per_full_scale or 1.0
    blocks = response.blocks(sound, c_response, unit=unit, times_rate=PEAK_OVERSAMPLING)
    return max(float(np.abs(block).max()) for block in blocks)


def _power_db(mean_square: float, sound: Sound) -> float:
    return float(10.0 * np.log10(mean_square / sound.reference**2))
