"""Undoing the response of headphones or a loudspeaker, within limits."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import scipy
from numpy import fft

from listening.audio import wav
from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.records.forms import rows
from listening.stimuli.minimum_phase import minimum_phase

N_TAPS = 4096
SMOOTHING_OCTAVES = 1 / 6  # narrower dips move with every fitting of the headphones and are left alone
COLUMNS = ("frequency_hz", "level_db")
FEWEST_POINTS = 3


@dataclass(frozen=True, eq=False)
class Response:
    """A measured response as filters."""

    heard: FloatArray
    """(4096,) what the headphones do, minimum phase"""
    undo: FloatArray
    """(4096,) what the files get, minimum phase"""
    largest_boost_db: float
    worst_rest_db: float
    """Largest departure from level in the compensated range, with both filters; limits on boost leave it."""


def load(path: Path, rate_hz: int, *, boost_limit_db: float, low_hz: float, high_hz: float) -> Response:
    """The filters for a measured response, which is taken relative to its mean level in the range.

    Raises
    ------
    MissingFile, SoundError
        No such file, not a response, or it does not cover the range.
    """
    grid_hz = np.asarray(np.fft.rfftfreq(2 * N_TAPS, 1 / rate_hz), dtype=np.float64)
    level_db = _from_table(path, grid_hz) if path.suffix.lower() == ".csv" else _from_impulse(path, rate_hz)
    inside = (grid_hz >= low_hz) & (grid_hz <= min(high_hz, 0.49 * rate_hz))
    if not np.isfinite(level_db[inside]).all() or not inside.any():
        raise SoundError(
            f"{path}: does not cover {low_hz:g} to {high_hz:g} Hz; measure it again, or narrow "
            "playback.compensated_hz"
        )
    held = _smoothed(np.asarray(np.interp(grid_hz, grid_hz[inside], level_db[inside])), grid_hz)
    held -= np.average(held[inside], weights=1 / np.maximum(grid_hz[inside], 1.0))  # over log frequency
    undo_db = np.minimum(-held, boost_limit_db)
    return Response(
        heard=minimum_phase(10 ** (held / 20))[:N_TAPS],
        undo=minimum_phase(10 ** (undo_db / 20))[:N_TAPS],
        largest_boost_db=float(undo_db.max()),
        worst_rest_db=float(np.abs(held + undo_db)[inside].max()),
    )


def filtered(sound: Sound, taps: FloatArray) -> Sound:
    """A sound of the same length through a filter, channel by channel."""
    made = scipy.signal.oaconvolve(sound.samples, taps[:, np.newaxis], axes=0)[: sound.n_samples]
    return replace(sound, samples=made)


def _from_impulse(path: Path, rate_hz: int) -> FloatArray:
    sound = wav.load(path)
    if sound.rate_hz != rate_hz:
        raise SoundError(f"{path}: {sound.rate_hz} Hz, the recordings have {rate_hz} Hz; export it alike")
    power = np.mean([np.abs(fft.rfft(c, 2 * N_TAPS)) ** 2 for c in sound.samples.T[:, : 2 * N_TAPS]], axis=0)
    return np.asarray(10 * np.log10(np.maximum(power, 1e-20)))


def _from_table(path: Path, grid_hz: FloatArray) -> FloatArray:
    table = rows.read(path)
    try:
        places = [table.heading.index(name) for name in COLUMNS]
        points = np.array([[rows.number(cells[p], table.separator) for p in places] for cells in table.cells])
    except (IndexError, ValueError) as error:
        raise SoundError(f"{path}: wanted columns {', '.join(COLUMNS)} with numbers ({error})") from error
    if len(points) < FEWEST_POINTS or (np.diff(points[:, 0]) <= 0).any() or points[0, 0] <= 0:
        raise SoundError(f"{path}: wanted at least {FEWEST_POINTS} rows with rising frequencies above 0")
    octave = np.log2(np.maximum(grid_hz, 1e-3))
    return np.asarray(np.interp(octave, np.log2(points[:, 0]), points[:, 1], left=np.nan, right=np.nan))


def _smoothed(level_db: FloatArray, grid_hz: FloatArray) -> FloatArray:
    """Power averaged over a sixth of an octave around each frequency."""
    total = np.concatenate([[0.0], np.cumsum(10 ** (level_db / 10))])
    half = 2 ** (SMOOTHING_OCTAVES / 2)
    low = np.searchsorted(grid_hz, grid_hz / half)
    high = np.maximum(np.searchsorted(grid_hz, grid_hz * half, side="right"), low + 1)
    return np.asarray(10 * np.log10((total[high] - total[low]) / (high - low)))
