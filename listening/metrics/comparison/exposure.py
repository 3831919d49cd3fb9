"""The energy of a strike alone: by band and in all, with the background taken off."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import bands, level, spectrum

BEFORE_S = 0.005  # of the onset, part of the strike
GUARD_S = 0.010  # before the onset, no background
SHORTEST_BACKGROUND_S = 0.08
LEAST_OVER_BACKGROUND_DB = 3.0  # ISO 3746:2010, 8.3.2: below, a corrected level is a bound and no value
DEVIATIONS = 2.0  # of the background's own scatter, by which a band must exceed it
AUDIBLE_HZ = (22.4, 17_783.0)  # edges of the bands 25 Hz to 16 kHz, IEC 61260-1:2014
CELLS_PER_OCTAVE = 1000  # the spectrum is summed into these first: a band's gain moves 0.02 dB within one
LOWEST_CELL_HZ, OCTAVES = 8.0, 12


@dataclass(frozen=True, eq=False)
class Exposures:
    """Exposure levels of one strike, re (20 µPa)²s or (full scale)²s; NaN where the background hides it.

    Where no background is known, nothing is taken off.
    """

    lae_db: float
    """A-weighted"""
    lze_db: float
    """all of 22 Hz to 18 kHz alike"""
    octave_db: FloatArray
    """(o,) bands of `bands.midbands_hz(per_octave=1)`"""
    third_db: FloatArray
    """(t,) bands of `bands.midbands_hz(per_octave=3)`"""
    corrected: bool
    """Whether a background was known."""


def measure(sound: Sound, onset_s: float, *, length_s: float, background: Sound | None = None) -> Exposures:
    """Exposure levels of `length_s` from the onset of a one-channel sound.

    Parameters
    ----------
    length_s : from the onset; comparisons take the same for all strikes
    background : one channel of the room alone, same gain; else what was recorded before the onset is taken

    Raises
    ------
    SoundError
        A background of another rate or calibration.

    Source: background correction, ISO 3744:2010, 8.2.3: the mean squares are subtracted.
    """
    strike = sound.part(onset_s - BEFORE_S, onset_s + length_s)
    energy = _energies(strike)
    room = _background(sound, onset_s, background)
    if room is None:
        return _exposures(_levels_db(energy, sound), sound, corrected=False)
    quiet = _energies(room) / room.duration_s * strike.duration_s
    widths = _widths_hz(sound.rate_hz)
    scatter = quiet * np.sqrt(1.0 / (widths * room.duration_s) + 1.0 / (widths * strike.duration_s))
    left = energy - quiet
    is_known = (energy >= quiet * 10 ** (LEAST_OVER_BACKGROUND_DB / 10)) & (left > DEVIATIONS * scatter)
    return _exposures(_levels_db(np.where(is_known, left, np.nan), sound), sound, corrected=True)


def averaged(found: Sequence[Exposures]) -> Exposures:
    """Mean energies of several channels; NaN where one is hidden."""

    def mean_db(name: str) -> FloatArray:
        energy = 10.0 ** (np.array([getattr(one, name) for one in found]) / 10.0)
        return np.asarray(10.0 * np.log10(energy.mean(axis=0)))

    return Exposures(
        float(mean_db("lae_db")),
        float(mean_db("lze_db")),
        mean_db("octave_db"),
        mean_db("third_db"),
        all(one.corrected for one in found),
    )


def _background(sound: Sound, onset_s: float, given: Sound | None) -> Sound | None:
    if given is not None:
        if given.rate_hz != sound.rate_hz or given.calibrated != sound.calibrated:
            raise SoundError(
                f"{given.name}: the background has {given.rate_hz} Hz, {sound.name} {sound.rate_hz} Hz; "
                "record both with the same rate, gain and calibration"
            )
        return given
    if onset_s - GUARD_S < SHORTEST_BACKGROUND_S:
        return None
    before = sound.part(0.0, onset_s - GUARD_S)
    return None if before.is_silent else before


@cache
def _weights(rate_hz: int) -> FloatArray:
    """(2 + o + t, c) power weights of the cells: A, Z, octaves, third-octaves."""
    cells = np.arange(CELLS_PER_OCTAVE * OCTAVES)
    frequency_hz = LOWEST_CELL_HZ * 2.0 ** ((cells + 0.5) / CELLS_PER_OCTAVE)
    audible = (frequency_hz >= AUDIBLE_HZ[0]) & (frequency_hz <= AUDIBLE_HZ[1])
    rows = [np.abs(level.a_response(frequency_hz)) ** 2, audible.astype(float)]
    for per_octave in (1, 3):
        for middle in bands.midbands_hz(rate_hz, per_octave=per_octave):
            rows.append(np.abs(bands.band_response(frequency_hz, middle, per_octave=per_octave)) ** 2)
    return np.array(rows)


def _widths_hz(rate_hz: int) -> FloatArray:
    """(2 + o + t,) noise bandwidths, for the scatter of a short background."""
    ratio = bands.OCTAVE_RATIO
    parts = [np.array([10_000.0, AUDIBLE_HZ[1]])]
    for per_octave in (1, 3):
        width = ratio ** (0.5 / per_octave) - ratio ** (-0.5 / per_octave)
        parts.append(bands.midbands_hz(rate_hz, per_octave=per_octave) * width)
    return np.concatenate(parts)


def _energies(sound: Sound) -> FloatArray:
    """(2 + o + t,) pressure squared times time behind each weight."""
    mean = sum(float(block.sum()) for block in sound.pressure_blocks()) / sound.n_samples
    frequency_hz, power = (values[1:] for values in spectrum.whole(sound, mean=mean))
    cell = np.floor(CELLS_PER_OCTAVE * np.log2(frequency_hz / LOWEST_CELL_HZ)).astype(int)
    inside = (cell >= 0) & (cell < CELLS_PER_OCTAVE * OCTAVES)
    summed = np.bincount(cell[inside], power[inside], minlength=CELLS_PER_OCTAVE * OCTAVES)
    return np.asarray(_weights(sound.rate_hz) @ summed) / sound.rate_hz


def _levels_db(energy: FloatArray, sound: Sound) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(10.0 * np.log10(energy / sound.reference**2))


def _exposures(level_db: FloatArray, sound: Sound, *, corrected: bool) -> Exposures:
    n_octaves = len(bands.midbands_hz(sound.rate_hz, per_octave=1))
    finite = np.where(np.isfinite(level_db), level_db, np.nan)
    octaves, thirds = finite[2 : 2 + n_octaves], finite[2 + n_octaves :]
    return Exposures(float(finite[0]), float(finite[1]), octaves, thirds, corrected)
