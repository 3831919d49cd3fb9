"""What clips are to an ear: level, brightness and decay, from the metrics of the written files."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listening.errors import StudyError
from listening.records.keys.key import Key
from listening.records.sounds.manifest import Manifest

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True)
class Percepts:
    """One row a clip; differences between rows are what a listener goes by."""

    codes: dict[str, int]
    """Clip code to row."""
    laf_max_db: FloatArray
    """(clips,), the known gain of a control included."""
    lae_db: FloatArray
    """(clips,), the known gain of a control included."""
    brightness_octaves: FloatArray
    """(clips,), log2 of the spectral centroid."""
    decay_doublings: FloatArray
    """(clips,), log2 of T60."""
    recording: IntArray
    """(clips,) number of the recording behind the clip: the same in both presentations."""
    condition: IntArray
    """(clips,) number of the clip's condition."""


def of_study(key: Key, manifest: Manifest) -> Percepts:
    """The percepts of every clip in the key.

    Raises
    ------
    StudyError
        A stimulus has no value for a metric that is needed.
    """
    stimuli = [manifest.of(clip.stimulus) for clip in key.clips]
    gain_db = np.array([clip.gain_db for clip in key.clips])
    recordings = {name: i for i, name in enumerate(sorted({s.recording for s in stimuli}))}
    conditions = {name: i for i, name in enumerate(sorted({clip.condition for clip in key.clips}))}

    def column(metric: str) -> FloatArray:
        missing = [s.stimulus for s in stimuli if s.after.get(metric) is None]
        if missing:
            raise StudyError(
                f"manifest: {missing[0]} has no {metric}, which simulated listeners go by; "
                "prepare the stimuli again, or leave that recording out"
            )
        return np.array([s.after[metric] for s in stimuli], dtype=float)

    return Percepts(
        codes={clip.clip: i for i, clip in enumerate(key.clips)},
        laf_max_db=column("laf_max_db") + gain_db,
        lae_db=column("lae_db") + gain_db,
        brightness_octaves=np.log2(column("centroid_hz")),
        decay_doublings=np.log2(column("t60_s")),
        recording=np.array([recordings[s.recording] for s in stimuli]),
        condition=np.array([conditions[clip.condition] for clip in key.clips]),
    )
