"""Loudness after ISO 532-1:2017 (Zwicker's method): stationary and over time, in sone and phon."""

from dataclasses import dataclass

import numpy as np

from listening.audio import resample
from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import iso532

FIELDS = ("free", "diffuse")
COURSE_STEP = 4  # from 2 kHz to one value every 2 ms, ISO 532-1:2017, 6.5
STEP_S = COURSE_STEP / iso532.COURSE_RATE_HZ
SETTLING_S = 0.2  # left out of the stationary mean, where the filters swing in
HIGHEST_LOW_BAND_DB = 120.0  # ISO 532-1:2017, table A.3 ends here
BARK = np.arange(1, iso532.N_BARK + 1) / 10.0
"""(240,) critical-band rate of the specific loudness"""


@dataclass(frozen=True, eq=False)
class Course:
    """Loudness over time, every 2 ms."""

    time_s: FloatArray
    """(k,)"""
    loudness_sone: FloatArray
    """(k,) N(t)"""
    specific_sone_per_bark: FloatArray
    """(k, 240) N'(z, t), before temporal weighting"""
    field: str

    @property
    def nmax_sone(self) -> float:
        return float(self.loudness_sone.max())

    def exceeded_sone(self, percent: float, *, window_s: tuple[float, float]) -> float:
        """Loudness exceeded during `percent` of the time in `window_s`, e.g. N5.

        The window has to be named: for a single strike the number depends on it as much as on the sound.
        """
        inside = (self.time_s >= window_s[0]) & (self.time_s < window_s[1])
        if not inside.any():
            raise SoundError(f"no loudness between {window_s[0]} and {window_s[1]} s; the sound is shorter")
        return float(np.percentile(self.loudness_sone[inside], 100.0 - percent))


@dataclass(frozen=True, eq=False)
class Stationary:
    """Loudness of a steady sound."""

    loudness_sone: float
    specific_sone_per_bark: FloatArray
    """(240,)"""
    field: str


def course(sound: Sound, *, field: str = "free") -> Course:
    """N(t) and N'(z, t) of a calibrated one-channel sound.

    Raises
    ------
    SoundError
        Not calibrated, several channels, an unknown field, or a low band above 120 dB.

    Source: ISO 532-1:2017, clause 6.
    """
    band_db = iso532.levels_db(iso532.band_intensities(_pressure_48k(sound, field)))
    _check_range(band_db, sound)
    core = iso532.decayed(iso532.core_loudness(band_db, diffuse=field == "diffuse"))
    total, pattern = iso532.specific(core)
    heard = iso532.temporally_weighted(total)[::COURSE_STEP]
    return Course(
        time_s=np.arange(len(heard), dtype=np.float64) * STEP_S,
        loudness_sone=heard,
        specific_sone_per_bark=np.ascontiguousarray(pattern[::COURSE_STEP]),
        field=field,
    )


def stationary(sound: Sound, *, field: str = "free", settling_s: float = SETTLING_S) -> Stationary:
    """Loudness of a calibrated, steady, one-channel sound; the first `settling_s` only feed the filters.

    Raises
    ------
    SoundError
        As `course`, or a sound not longer than `settling_s`.

    Source: ISO 532-1:2017, clause 5.
    """
    pressure, skip = _pressure_48k(sound, field), round(settling_s * iso532.RATE_HZ)
    if len(pressure) <= skip:
        raise SoundError(f"{sound.name}: {sound.duration_s:.3f} s long, more than {settling_s} s wanted")
    return of_bands(iso532.levels_db(iso532.band_mean_squares(pressure, skip)), field=field)


def of_bands(band_db: FloatArray, *, field: str = "free") -> Stationary:
    """Loudness of (28,) third-octave levels, 25 Hz to 12.5 kHz, dB re 20 µPa.

    Source: ISO 532-1:2017, 5.4 to 5.7.
    """
    core = iso532.core_loudness(np.asarray(band_db, dtype=np.float64)[np.newaxis], diffuse=field == "diffuse")
    total, pattern = iso532.specific(core)
    return Stationary(float(total[0]), pattern[0], field)


def level_phon(loudness_sone: float) -> float:
    """Loudness level of a loudness. Source: ISO 532-1:2017, 5.8."""
    if loudness_sone >= 1.0:
        return float(40.0 + 10.0 * np.log2(loudness_sone))
    return float(max(3.0, 40.0 * (loudness_sone + 0.0005) ** 0.35))


def _pressure_48k(sound: Sound, field: str) -> FloatArray:
    if field not in FIELDS:
        raise SoundError(f"sound field '{field}', wanted {' or '.join(FIELDS)}")
    if not sound.calibrated:
        raise SoundError(
            f"{sound.name}: loudness in sone needs a calibration; give the pascal of a full-scale sample, "
            "or a recording of the calibrator"
        )
    return resample.converted(sound.only_channel(), sound.rate_hz, iso532.RATE_HZ)


def _check_range(band_db: FloatArray, sound: Sound) -> None:
    loudest = float(band_db[:, :11].max())
    if loudest > HIGHEST_LOW_BAND_DB:
        raise SoundError(
            f"{sound.name}: a third-octave band up to 250 Hz reaches {loudest:.1f} dB, ISO 532-1 ends at "
            f"{HIGHEST_LOW_BAND_DB:.0f} dB; check the calibration"
        )
