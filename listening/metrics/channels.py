"""Which channel of a sound counts."""

from typing import Literal

from listening.audio.sound import Sound
from listening.metrics import level


def chosen(sound: Sound, number: int | None) -> tuple[Sound, int]:
    """The channel of this number from 1, or the loudest, as a sound of its own, with its number.

    Raises
    ------
    SoundError
        The sound has no such channel.
    """
    if number is not None:
        return sound.channel(number - 1), number
    if sound.n_channels == 1:
        return sound, 1
    strongest = loudest(sound)
    same = [(sound.samples[:, c] == strongest.samples[:, 0]).all() for c in range(sound.n_channels)]
    return strongest, same.index(True) + 1


def all_or_one(sound: Sound, number: int | Literal["average"] | None) -> list[tuple[Sound, int]]:
    """Every channel that is not silent with its number for `average`, else the one that is chosen."""
    if number != "average":
        return [chosen(sound, number)]
    level.check_not_silent(sound)
    every = [(sound.channel(c), c + 1) for c in range(sound.n_channels)]
    return [(one, c) for one, c in every if one.samples.any()]


def loudest(sound: Sound) -> Sound:
    """The channel with the largest LAFmax."""
    level.check_not_silent(sound)
    every = [sound.channel(c) for c in range(sound.n_channels)]
    heard = [c for c in every if c.samples.any()]
    return heard[0] if len(heard) == 1 else max(heard, key=level.laf_max_db)
