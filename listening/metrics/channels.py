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
    index = loudest_index(sound)
    return sound.channel(index), index + 1


def all_or_one(sound: Sound, number: int | Literal["average"] | None) -> list[tuple[Sound, int]]:
    """Every channel that is not silent with its number for `average`, else the one that is chosen."""
    if number != "average":
        return [chosen(sound, number)]
    level.check_not_silent(sound)
    every = [(sound.channel(c), c + 1) for c in range(sound.n_channels)]
    return [(one, c) for one, c in every if not one.is_silent]


def loudest(sound: Sound) -> Sound:
    """The channel with the largest LAFmax."""
    return sound.channel(loudest_index(sound))


def loudest_index(sound: Sound) -> int:
    """Which channel that is, from 0; the first of several alike."""
    level.check_not_silent(sound)
    heard = [c for c in range(sound.n_channels) if not sound.channel(c).is_silent]
    return heard[0] if len(heard) == 1 else max(heard, key=lambda c: level.laf_max_db(sound.channel(c)))
