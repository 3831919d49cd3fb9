"""Until when a strike rings audibly in its recording."""

from collections.abc import Iterable, Iterator

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics import level
from listening.metrics.striking import onset

FRAME_S = 0.05
DOWN_DB = 60.0  # A-weighted, re the loudest 50 ms: what is weaker is not missed
PADDED_FADE_S = 0.05  # of a short take, into the silence put behind it
OVER_NOISE_DB = 6.0  # less over what was recorded before the strike is the room


def audible_until_s(sound: Sound, onset_s: float) -> float | None:
    """Time from the onset of a one-channel sound after which it has sunk 60 dB or into the room's noise.

    None when the recording ends before; 0 where nothing after the onset stands out of the room.
    """
    start, frame = round(onset_s * sound.rate_hz), max(1, round(FRAME_S * sound.rate_hz))
    before = _Before(max(0, start - frame))
    rms = onset.frames(before.taken(level.weighted(sound, "A"), start), frame)
    room = before.rms if before.n_samples >= frame else 0.0
    limit = max(rms.max() * 10.0 ** (-DOWN_DB / 20.0), room * 10.0 ** (OVER_NOISE_DB / 20.0))
    above = np.flatnonzero(rms > limit)
    last = int(above[-1]) + 1 if above.size else 0  # nothing stands out of the room
    return None if last >= len(rms) else last * frame / sound.rate_hz


class _Before:
    """The energy of a sound's first samples, added up while its blocks go by."""

    def __init__(self, n_samples: int) -> None:
        self.n_samples = n_samples
        self.energy = 0.0

    @property
    def rms(self) -> float:
        return float(np.sqrt(self.energy / self.n_samples))

    def taken(self, blocks: Iterable[FloatArray], start: int) -> Iterator[FloatArray]:
        """What the blocks hold from sample `start` on."""
        place = 0
        for block in blocks:
            self.energy += float((block[: max(0, self.n_samples - place)] ** 2).sum())
            yield block[max(0, start - place) :]
            place += len(block)
