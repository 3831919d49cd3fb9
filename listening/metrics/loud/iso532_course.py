"""The loudness course of ISO 532-1:2017 block by block: what is carried from one block to the next."""

import numpy as np

from listening.audio.sound import FloatArray
from listening.metrics.loud import iso532

COURSE_STEP = 4  # from 2 kHz to one value every 2 ms, clause 6.5


class Course:
    """Takes pressure at 48 kHz in blocks of any length and gives loudness every 2 ms, a little behind."""

    def __init__(self, *, diffuse: bool) -> None:
        self._diffuse = diffuse
        self._pressure = np.empty(0)
        self._bands = iso532.band_state()
        self._core = np.empty((0, 21))
        self._decay = np.zeros((2, 21))
        self._total = np.empty(0)
        self._weighting = np.zeros(2)
        self._heard_before, self._pattern_before = 0, 0

    def take(self, pressure: FloatArray, *, is_last: bool) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Band levels (m, 28) of this block; what is now known of loudness (k,) and its pattern (p, 240)."""
        band_db = self._levels_db(pressure, is_last=is_last)
        core = np.concatenate([self._core, iso532.core_loudness(band_db, diffuse=self._diffuse)])
        self._core = core[-1:].copy()
        total, pattern = iso532.specific(iso532.decayed(core, self._decay, is_last=is_last))
        total = np.concatenate([self._total, total])
        self._total = total[-1:].copy()
        heard = iso532.temporally_weighted(total, self._weighting, is_last=is_last)
        places = -self._heard_before % COURSE_STEP, -self._pattern_before % COURSE_STEP
        self._heard_before += len(heard)
        self._pattern_before += len(pattern)
        return band_db, heard[places[0] :: COURSE_STEP], pattern[places[1] :: COURSE_STEP]

    def _levels_db(self, pressure: FloatArray, *, is_last: bool) -> FloatArray:
        joined = np.concatenate([self._pressure, pressure]) if len(self._pressure) else pressure
        whole = len(joined) if is_last else len(joined) // iso532.STEP * iso532.STEP
        self._pressure = joined[whole:]
        return iso532.levels_db(iso532.band_intensities(joined[:whole], self._bands))
