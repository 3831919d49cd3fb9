"""Until when a strike rings audibly in its recording."""

import numpy as np

from listening.audio.sound import Sound
from listening.metrics import level, onset

FRAME_S = 0.05
DOWN_DB = 60.0  # A-weighted, re the loudest 50 ms: what is weaker is not missed
OVER_NOISE_DB = 6.0  # less over what was recorded before the strike is the room


def audible_until_s(sound: Sound, onset_s: float) -> float | None:
    """Time from the onset of a one-channel sound after which it has sunk 60 dB or into the room's noise.

    None when the recording ends before; 0 where nothing after the onset stands out of the room.
    """
    weighted = level.weighted(sound.only_channel(), sound.rate_hz, "A")
    start, frame = round(onset_s * sound.rate_hz), max(1, round(FRAME_S * sound.rate_hz))
    rms = onset.envelope(weighted[start:], frame)
    before = weighted[: max(0, start - frame)]
    room = float(np.sqrt((before**2).mean())) if len(before) >= frame else 0.0
    limit = max(rms.max() * 10.0 ** (-DOWN_DB / 20.0), room * 10.0 ** (OVER_NOISE_DB / 20.0))
    above = np.flatnonzero(rms > limit)
    last = int(above[-1]) + 1 if above.size else 0  # nothing stands out of the room
    return None if last >= len(rms) else last * frame / sound.rate_hz
