"""Sound levels after IEC 61672-1:2013: weightings A, C, Z, time weightings F and S, exposure and peak."""

from dataclasses import dataclass

import numpy as np
import scipy

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
    pressure = sound.only_channel()
    check_not_silent(sound)
    a_squared = weighted(pressure, sound.rate_hz, "A") ** 2
    duration_s = sound.duration_s
    mean_square_a = float(a_squared.mean())
    return Levels(
        laf_max_db=_power_db(float(_running_mean(a_squared, sound.rate_hz, "F").max()), sound),
        las_max_db=_power_db(float(_running_mean(a_squared, sound.rate_hz, "S").max()), sound),
        la_eq_db=_power_db(mean_square_a, sound),
        lae_db=_power_db(mean_square_a * duration_s, sound),
        lz_eq_db=_power_db(float((pressure**2).mean()), sound),
        lc_peak_db=_power_db(_peak(pressure, sound.rate_hz) ** 2, sound),
        calibrated=sound.calibrated,
    )


def laf_max_db(sound: Sound) -> float:
    """Largest A-weighted level with time weighting F of a one-channel sound."""
    check_not_silent(sound)
    return float(course_db(sound).max())


def course_db(sound: Sound, *, weighting: str = "A", speed: str = "F") -> FloatArray:
    """(n,) level over time, e.g. LAF; starts from rest at the first sample."""
    squared = weighted(sound.only_channel(), sound.rate_hz, weighting) ** 2
    running = _running_mean(squared, sound.rate_hz, speed)
    floor = (sound.reference * 1e-15) ** 2  # keeps exact zeros finite: -300 dB
    return np.asarray(10.0 * np.log10(np.maximum(running, floor) / sound.reference**2))


def a_weighted_exposure(sound: Sound) -> FloatArray:
    """(channels,) time integral of the squared A-weighted pressure, Pa²s (or full scale² s)."""
    energies = [
        (weighted(sound.pressure[:, c], sound.rate_hz, "A") ** 2).sum() / sound.rate_hz
        for c in range(sound.n_channels)
    ]
    return np.asarray(energies)


def weighted(pressure: FloatArray, rate_hz: int, weighting: str) -> FloatArray:
    """(n,) pressure behind the weighting "A", "C" or "Z", at any rate without warping."""
    if weighting == "Z":
        return pressure
    return response.apply(pressure, rate_hz, RESPONSES[weighting])


def a_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the A weighting, 0 dB at 1 kHz. Source: IEC 61672-1:2013 annex E."""
    return np.asarray(_a_shape(frequency_hz) / abs(_a_shape(np.array([1000.0]))[0]))


def c_response(frequency_hz: FloatArray) -> np.ndarray:
    """(k,) complex gain of the C weighting, 0 dB at 1 kHz. Source: IEC 61672-1:2013 annex E."""
    return np.asarray(_c_shape(frequency_hz) / abs(_c_shape(np.array([1000.0]))[0]))


RESPONSES = {"A": a_response, "C": c_response}


def check_not_silent(sound: Sound) -> None:
    """Refuse a sound of nothing but zeros."""
    if not sound.samples.any():
        raise SoundError(
            f"{sound.name}: all {sound.n_samples} samples are zero; silence has no level to measure"
        )


def _c_shape(frequency_hz: FloatArray) -> np.ndarray:
    s = 1j * frequency_hz
    return np.asarray(s**2 / ((s + POLE_1_HZ) ** 2 * (s + POLE_4_HZ) ** 2))


def _a_shape(frequency_hz: FloatArray) -> np.ndarray:
    s = 1j * frequency_hz
    return np.asarray(_c_shape(frequency_hz) * s**2 / ((s + POLE_2_HZ) * (s + POLE_3_HZ)))


def _running_mean(squared: FloatArray, rate_hz: int, speed: str) -> FloatArray:
    keep = np.exp(-1.0 / (rate_hz * TIME_CONSTANT_S[speed]))
    return np.asarray(scipy.signal.lfilter([1.0 - keep], [1.0, -keep], squared))


def _peak(pressure: FloatArray, rate_hz: int) -> float:
    weighted_c = response.apply(pressure, rate_hz, c_response, times_rate=PEAK_OVERSAMPLING)
    return float(np.abs(weighted_c).max())


def _power_db(mean_square: float, sound: Sound) -> float:
    return float(10.0 * np.log10(mean_square / sound.reference**2))
