"""Loudness after ISO 532-1:2017 (Zwicker's method): stationary and over time, in sone and phon."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from listening.audio import resample
from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.loud import iso532, iso532_course

FIELDS = ("free", "diffuse")
STEP_S = iso532_course.COURSE_STEP / iso532.COURSE_RATE_HZ
KEPT_S = 1.0  # of the specific loudness of a long sound: a minute of it would take 58 MB
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
    """(m, 240) N'(z, t), before temporal weighting, from `specific_from_s` on; of a long sound 1 s"""
    field: str
    instantaneous_sone: FloatArray
    """(k,) sum of N'(z, t): loudness before temporal weighting"""
    specific_from_s: float = 0.0

    @property
    def specific_time_s(self) -> FloatArray:
        """(m,)"""
        first = round(self.specific_from_s / STEP_S)
        return np.asarray(self.time_s[first : first + len(self.specific_sone_per_bark)])

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


def course(sound: Sound, *, field: str = "free", onset_s: float = 0.0) -> Course:
    """N(t) and N'(z, t) of a calibrated one-channel sound; N'(z, t) of a long one for 1 s from `onset_s`.

    Raises
    ------
    SoundError
        Not calibrated, several channels, an unknown field, or a low band above 120 dB.

    Source: ISO 532-1:2017, clause 6.
    """
    running = iso532_course.Course(diffuse=field == "diffuse")
    first = int(max(onset_s, 0.0) / STEP_S) if sound.is_long else 0
    last = first + round(KEPT_S / STEP_S) if sound.is_long else None
    heard, sums, kept, place = [], [], [], 0
    for pressure, is_last in _blocks_48k(sound, field):
        band_db, loudness, pattern = running.take(pressure, is_last=is_last)
        _check_range(band_db, sound)
        heard.append(loudness)
        sums.append(pattern.sum(axis=1) * 0.1)
        stop = None if last is None else max(0, last - place)
        kept.append(pattern[max(0, first - place) : stop].copy())
        place += len(pattern)
    together = np.concatenate(heard)
    return Course(
        time_s=np.arange(len(together), dtype=np.float64) * STEP_S,
        loudness_sone=together,
        specific_sone_per_bark=np.concatenate(kept),
        field=field,
        instantaneous_sone=np.concatenate(sums),
        specific_from_s=first * STEP_S,
    )


def stationary(sound: Sound, *, field: str = "free", settling_s: float = SETTLING_S) -> Stationary:
    """Loudness of a calibrated, steady, one-channel sound; the first `settling_s` only feed the filters.

    Raises
    ------
    SoundError
        As `course`, or a sound not longer than `settling_s`.

    Source: ISO 532-1:2017, clause 5.
    """
    skip, state, energy, n = round(settling_s * iso532.RATE_HZ), iso532.band_state(), np.zeros(28), 0
    for pressure, _ in _blocks_48k(sound, field):
        energy += iso532.band_energies(pressure, max(0, skip - n), state)
        n += len(pressure)
    if n <= skip:
        raise SoundError(f"{sound.name}: {sound.duration_s:.3f} s long, more than {settling_s} s wanted")
    return of_bands(iso532.levels_db(energy / (n - skip)), field=field)


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


def _blocks_48k(sound: Sound, field: str) -> Iterator[tuple[FloatArray, bool]]:
    if field not in FIELDS:
        raise SoundError(f"sound field '{field}', wanted {' or '.join(FIELDS)}")
    if not sound.calibrated:
        raise SoundError(
            f"{sound.name}: loudness in sone needs a calibration; give the pascal of a full-scale sample, "
            "or a recording of the calibrator"
        )
    sound.check_one_channel()
    return resample.blocks(sound.pressure_blocks(), sound.rate_hz, iso532.RATE_HZ)


def _check_range(band_db: FloatArray, sound: Sound) -> None:
    loudest = float(band_db[:, :11].max(initial=-np.inf))
    if loudest > HIGHEST_LOW_BAND_DB:
        raise SoundError(
            f"{sound.name}: a third-octave band up to 250 Hz reaches {loudest:.1f} dB, ISO 532-1 ends at "
            f"{HIGHEST_LOW_BAND_DB:.0f} dB; check the calibration"
        )
