"""Until when a strike rings audibly in its recording."""

from collections.abc import Iterator

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
    rms = onset.frames(_within(sound, start, sound.n_samples), frame)
    until = max(0, start - frame)
    energy = sum(float((block**2).sum()) for block in _within(sound, 0, until))
    room = float(np.sqrt(energy / until)) if until >= frame else 0.0
    limit = max(rms.max() * 10.0 ** (-DOWN_DB / 20.0), room * 10.0 ** (OVER_NOISE_DB / 20.0))
    above = np.flatnonzero(rms > limit)
    last = int(above[-1]) + 1 if above.size else 0  # nothing stands out of the room
    return None if last >= len(rms) else last * frame / sound.rate_hz


def _within(sound: Sound, start: int, stop: int) -> Iterator[FloatArray]:
    """The A-weighted pressure from sample `start` up to `stop`, block by block."""
    place = 0
    for block in level.weighted(sound, "A"):
        yield block[max(0, start - place) : max(0, stop - place)]
        place += len(block)
