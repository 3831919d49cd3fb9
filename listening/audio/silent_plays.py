"""Ten silent plays before anybody listens: whether a device starts, takes every frame, and how fast."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from listening.audio.mixer import InTurn
from listening.audio.speaker import LEAD_IN_S, Speaker
from listening.errors import SoundError

N_PLAYS = 10
PLAY_S = 0.1
LOOK_S = 0.01
GIVEN_UP_AFTER = 3  # plays lost


@dataclass(frozen=True)
class Tried:
    """What silent plays showed."""

    n_plays: int
    longest_start_s: float
    """Longest pause before the device ran."""
    troubles: tuple[str, ...]
    """Why plays did not come through whole; empty: all did."""


def tried(speaker: Speaker, *, sleep: Callable[[float], None] = time.sleep) -> Tried:
    """Play silence on a device that nobody listens to yet; the speaker learns its start from it.

    Where a play or two were lost, as a machine that is busy for a moment loses them, the ten are played once
    more; a device that loses three is given up.

    Raises
    ------
    SoundError
        The device cannot be opened.
    """
    found = _round(speaker, sleep)
    return _round(speaker, sleep) if 0 < len(found.troubles) < GIVEN_UP_AFTER else found


def _round(speaker: Speaker, sleep: Callable[[float], None]) -> Tried:
    troubles: list[str] = []
    n_plays, longest_s = 0, speaker.longest_start_s or 0.0
    while n_plays < N_PLAYS and len(troubles) < GIVEN_UP_AFTER:
        n_plays += 1
        speaker.longest_start_s = None  # a quick start says nothing of the next one while the device is tried
        if trouble := _trouble(speaker, sleep):
            troubles.append(trouble)
        longest_s = max(longest_s, speaker.longest_start_s or 0.0)
    speaker.longest_start_s = longest_s
    return Tried(n_plays, longest_s, tuple(troubles))


def _trouble(speaker: Speaker, sleep: Callable[[float], None]) -> str:
    """Play silence once; why it did not come through whole, or nothing."""
    silence = np.zeros((round(PLAY_S * speaker.rate_hz), 1), np.float32)
    mixer = InTurn([silence], gap_frames=0, lead_in_frames=round(LEAD_IN_S * speaker.rate_hz))
    speaker.start(mixer, peak=0.0)
    while (played := speaker.played()).running:
        sleep(LOOK_S)
    speaker.stop()
    missing = played.frames_asked - played.frames_played
    lost = f"{missing} of {played.frames_asked} frames not played" if missing else ""
    return played.trouble or lost


def refuse_unfit(found: Tried, device: str) -> None:
    """Nobody is seated at a device that lost even one of the plays.

    Raises
    ------
    SoundError
        Some plays did not come through; the first reason is told.
    """
    if found.troubles:
        n_lost = len(found.troubles)
        n_lost = len(found.troubles)
        raise SoundError(
            f"sound device `{device}`: {n_lost} of {found.n_plays} silent plays did not come through "
            f"({found.troubles[0]}); nobody was seated. Close other programs that play sound, or choose "
            "another device (listening devices, then --device)"
        )
