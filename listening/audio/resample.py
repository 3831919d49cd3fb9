"""Another sample rate for the same sound."""

from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np
import soxr

from listening.audio.sound import FloatArray, Sound


def to_rate(sound: Sound, rate_hz: int) -> Sound:
    """`sound` at `rate_hz`, band-limited (soxr, very high quality); itself when the rate is right already."""
    if sound.rate_hz == rate_hz:
        return sound
    made = converted(sound.samples, sound.rate_hz, rate_hz)
    return Sound(made, rate_hz, sound.pascal_per_full_scale, sound.name)


def converted(samples: FloatArray, from_hz: int, to_hz: int) -> FloatArray:
    """Samples, (n,) or (n, channels), at another rate; the first sample keeps its instant."""
    if from_hz == to_hz:
        return samples
    return np.asarray(soxr.resample(samples, from_hz, to_hz, quality="VHQ"), dtype=np.float64)


def blocks(samples: Iterable[FloatArray], from_hz: int, to_hz: int) -> Iterator[tuple[FloatArray, bool]]:
    """Blocks of (m,) samples at another rate, and whether each is the last; joined as `converted` has it."""
    stream = None if from_hz == to_hz else soxr.ResampleStream(from_hz, to_hz, 1, "float64", "VHQ")
    held: FloatArray | None = None
    for block in chain(samples, [None]):
        if held is not None:
            is_last = block is None
            made = held if stream is None else stream.resample_chunk(held, last=is_last)
            yield np.asarray(made, dtype=np.float64), is_last
        held = block
