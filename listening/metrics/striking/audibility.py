"""How long a strike is heard before it sinks into the background."""

import numpy as np

from listening.metrics.loud.loudness import Course

THRESHOLD_SONE = 0.02  # about 7 phon: below this ISO 532-1 means "not heard"
BACKGROUND_SPREAD = 2.0  # standard deviations of the background's loudness above its mean
SHORTEST_BACKGROUND_S = 0.1
STEADY_S = 0.1
SETTLING_S = 0.03  # of the background, while the method's filters swing in


def inaudible_after_s(course: Course, onset_s: float, background: Course | None = None) -> float | None:
    """Time from the onset until the loudness no longer exceeds what the background alone reaches.

    Taken before temporal weighting, whose 70 ms would need a longer background to settle. It is over when the
    limit is exceeded during less than half of every later tenth of a second. The background is `background`,
    or what was recorded before the onset, or, where that is shorter than 0.1 s, silence. None when the
    recording ends before.
    """
    step_s = course.time_s[1] - course.time_s[0]
    above = course.instantaneous_sone > limit_sone(course, onset_s, background)
    width = max(1, min(round(STEADY_S / step_s), len(above)))
    share_above = np.convolve(above, np.ones(width) / width, mode="valid")
    heard = np.flatnonzero((share_above >= 0.5) & (course.time_s[width - 1 :] >= onset_s))
    if not len(heard):
        return 0.0
    last = int(heard[-1])
    if last + 1 >= len(share_above):
        return None
    return float(max(0.0, course.time_s[last + width // 2] - onset_s))


def limit_sone(course: Course, onset_s: float, background: Course | None = None) -> float:
    """Loudness that the background alone reaches now and then."""
    alone = course if background is None else background
    end_s = onset_s - 0.005 if background is None else np.inf
    before = alone.instantaneous_sone[(alone.time_s >= SETTLING_S) & (alone.time_s < end_s)]
    if len(before) * (alone.time_s[1] - alone.time_s[0]) < SHORTEST_BACKGROUND_S:
        return THRESHOLD_SONE
    return max(THRESHOLD_SONE, float(before.mean() + BACKGROUND_SPREAD * before.std()))
