"""One stimulus file: written, read back, measured again."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import measures
from listening.metrics.loud import loudness_bs1770
from listening.records.kinds import metric_register
from listening.records.sounds.manifest import Isolated, Stimulus
from listening.stimuli import headphones, sources
from listening.stimuli.sources import Common, Source

Metrics = dict[str, float | None]
DIGITAL_KEYS = tuple(metric.key for metric in metric_register.ALL if metric.is_digital)
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
    sound = for_file(sound_of(wanted, common), common).amplified(wanted.gain_db)
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
        after=at_the_ear(heard, common),
        isolated=wanted.isolated,
    )


def sound_of(wanted: Wanted, common: Common) -> Sound:
    """The trimmed sound of a stimulus before its gain."""
    if wanted.sound is None:
        return sources.loaded(wanted.source, common)
    return sources.to_ears(wanted.sound, common.ears)


def for_file(sound: Sound, common: Common) -> Sound:
    """What a sound becomes in the file: the response of the headphones undone, where one is given."""
    return sound if common.response is None else headphones.filtered(sound, common.response.undo)


def at_the_ear(heard: Sound, common: Common) -> Metrics:
    """Metrics of the file as it sounds through the headphones; the true peak is the file's own."""
    if common.response is None:
        return measures.measure(heard, fades_from_s=common.window.fades_from_s).as_dict()
    sounds = headphones.filtered(heard, common.response.heard)
    found = measures.measure(sounds, fades_from_s=common.window.fades_from_s).as_dict()
    return found | {"true_peak_dbtp": loudness_bs1770.true_peak_dbtp(heard)}


def _check_samples(heard: Sound, sound: Sound) -> None:
    worst = float(np.abs(heard.samples - sound.samples).max())
    if worst > STEP_24_BIT:
        raise StudyError(
            f"{heard.name}: a written sample is {worst / STEP_24_BIT:.1f} steps off; check the disk"
        )
