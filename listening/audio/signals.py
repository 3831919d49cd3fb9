"""Test signals for devices: steady tones on one ear or both, faded in and out."""

import numpy as np

from listening.audio.mixer import Samples, raised_cosine

FADE_S = 0.05
SIDES = ("left", "right", "both")


def sine(
    frequency_hz: float, *, rate_hz: int, length_s: float, level_db: float, side: str = "both"
) -> Samples:
    """(frames, 2) sine of `level_db` re full scale (RMS over 1), silent on the other ear."""
    t = np.arange(round(length_s * rate_hz)) / rate_hz
    tone = np.sqrt(2) * 10 ** (level_db / 20) * np.sin(2 * np.pi * frequency_hz * t)
    rise = raised_cosine(round(FADE_S * rate_hz))
    tone[: len(rise)] *= rise
    tone[-len(rise) :] *= rise[::-1]
    ears = [side in ("left", "both"), side in ("right", "both")]
    return np.asarray((tone[:, np.newaxis] * np.array(ears)).astype(np.float32))
