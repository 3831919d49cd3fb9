"""One stimulus file: written, read back, measured again."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import measures
from listening.records.manifest import Isolated, Stimulus
from listening.stimuli import sources
from listening.stimuli.sources import Common, Source

Metrics = dict[str, float | None]
DIGITAL_KEYS = ("momentary_max_lufs", "integrated_lufs", "true_peak_dbtp")
STEP_24_BIT = 2.0**-23


@dataclass(frozen=True)
class Wanted:
    """One stimulus file to be written."""

    source: Source
    presentation: str
    gain_db: float
    """After the common calibration: matching gain and headroom offset."""
    before: Metrics
    file: str
    condition: str
    sound: Sound | None = None
    """Made from the source, trimmed; None: the source itself."""
    isolated: Isolated | None = None


def write(wanted: Wanted, common: Common, into: Path, pascal_per_full_scale: float | None) -> Stimulus:
    """Write one stimulus and measure it again from its file."""
    made = wanted.sound or sources.loaded(wanted.source, common)
    sound = made.amplified(wanted.gain_db)
    path = into / wanted.file
    wav.save(path, sound)
    heard = wav.load(path, pascal_per_full_scale)
    _check_samples(heard, sound)
    source = wanted.source
    return Stimulus(
        stimulus=path.stem,
        role=source.role,
        recording=source.recording,
        condition=wanted.condition,
        strike=source.strike,
        presentation=wanted.presentation,
        attribute=source.attribute,
        end=source.end,
        file=wanted.file,
        digest=wav.digest(heard.samples),
        gain_db=wanted.gain_db + sources.calibration_db(source, common),
        before=wanted.before,
        after=measures.measure(heard).as_dict(),
        isolated=wanted.isolated,
    )


def _check_samples(heard: Sound, sound: Sound) -> None:
    worst = float(np.abs(heard.samples - sound.samples).max())
    if worst > STEP_24_BIT:
        raise StudyError(
            f"{heard.name}: a written sample is {worst / STEP_24_BIT:.1f} steps off; check the disk"
        )
