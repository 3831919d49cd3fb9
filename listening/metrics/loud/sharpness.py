"""Sharpness after DIN 45692:2009, steady and over time, and the study's brightness, in acum."""

import numpy as np

from listening.audio.sound import FloatArray
from listening.errors import SoundError
from listening.metrics.loud.loudness import BARK, Course

SCALE = 0.11  # makes critical-band noise at 1 kHz, 60 dB, 1 acum
STEEP_FROM_BARK = 15.8
BRIGHTNESS_WINDOW_S = 0.3  # from the onset; what is heard as the strike's colour
WEIGHT = np.where(BARK <= STEEP_FROM_BARK, 1.0, 0.15 * np.exp(0.42 * (BARK - STEEP_FROM_BARK)) + 0.85) * BARK
"""(240,) g(z) z, DIN 45692:2009, equation (2)"""


def of_specific(specific_sone_per_bark: FloatArray) -> FloatArray:
    """Sharpness of specific loudness (..., 240); 0 where there is none.

    Divided by the sum of the specific loudness itself: the temporally weighted loudness lags behind at a
    strike and would make it several times too sharp.
    """
    total = specific_sone_per_bark.sum(axis=-1)
    weighted = specific_sone_per_bark @ WEIGHT
    return np.asarray(SCALE * np.divide(weighted, total, out=np.zeros_like(total), where=total > 0))


def brightness_acum(course: Course, onset_s: float, window_s: float = BRIGHTNESS_WINDOW_S) -> float:
    """Loudness-weighted mean sharpness from the onset on, over `window_s`.

    Raises
    ------
    SoundError
        Nothing is heard in that time.
    """
    time_s = course.specific_time_s
    inside = (time_s >= onset_s) & (time_s < onset_s + window_s)
    heard = course.specific_sone_per_bark[inside].sum(axis=0)
    if not heard.any():
        raise SoundError(
            f"nothing above the threshold of hearing within {window_s} s of the onset: no sharpness"
        )
    return float(of_specific(heard))
