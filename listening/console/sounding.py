"""Play a sound to its end from a command, and say what went wrong if it did."""

import time
from collections.abc import Sequence

from listening.audio.mixer import InTurn, Samples
from listening.audio.probe import Device
from listening.audio.speaker import LEAD_IN_S, Speaker
from listening.errors import SoundError


def play(device: Device, sounds: Sequence[Samples], *, rate_hz: int, gap_s: float = 0.5) -> None:
    """Play sounds in turn and wait.

    Raises
    ------
    SoundError
        The device did not take all of it.
    """
    speaker = Speaker(rate_hz, now_s=time.monotonic, device=device.index)
    mixer = InTurn(sounds, gap_frames=round(gap_s * rate_hz), lead_in_frames=round(LEAD_IN_S * rate_hz))
    speaker.start(mixer, peak=max(float(abs(sound).max()) for sound in sounds))
    try:
        while (played := speaker.played()).running:
            time.sleep(0.02)
    finally:
        speaker.stop()
    if played.trouble or played.frames_played < played.frames_asked:
        short = f"{played.frames_played} of {played.frames_asked} frames were taken"
        raise SoundError(f"{device.name}: {played.trouble or short}; check the device and try again")
