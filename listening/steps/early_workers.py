"""Processes that load what measuring needs while the command itself still loads it."""

from collections.abc import Iterator

import numpy as np
from joblib import Parallel, delayed

RATE_HZ = 48_000


def start(jobs: int) -> Iterator[object]:
    """Start so many processes; run through what is given to wait until all are ready. One job needs none."""
    if jobs == 1:
        return iter(())
    ready: Iterator[object] = Parallel(n_jobs=jobs, return_as="generator")(
        delayed(_load)() for _ in range(jobs)
    )
    return ready


def _load() -> None:
    """Import what measuring needs, and measure a click: compiled code is loaded at its first use."""
    from listening.audio.sound import Sound
    from listening.metrics import measures
    from listening.steps import study_measures  # noqa: F401  # what the processes are sent refers to it

    time_s = np.arange(RATE_HZ // 2) / RATE_HZ
    ring = np.sin(2 * np.pi * 1500.0 * time_s) * np.exp(-20.0 * time_s)
    measures.measure(Sound(0.3 * ring[:, np.newaxis], RATE_HZ, 1.0))
