"""The sound files of a study as they go into preparation, and what they have in common."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import calibration
from listening.metrics.calibration import StudyCalibration
from listening.records.forms.text import from_root
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Attribute
from listening.records.sounds import recordings_table
from listening.records.sounds.manifest import End, Role
from listening.records.sounds.recordings_table import Recording
from listening.stimuli import headphones
from listening.stimuli.headphones import Response
from listening.stimuli.trim import Window, trimmed

Ears = Literal["as recorded", "both", "left", "right"]


@dataclass(frozen=True)
class Source:
    """A sound file to be prepared, and what the manifest says of it."""

    file: Path
    recording: str
    role: Role
    condition: str = ""
    strike: str = ""
    pascal_per_full_scale: float | None = None
    attribute: str = ""
    end: End = ""

    @property
    def name(self) -> str:
        """Unique among the sources of a set."""
        return f"example {self.attribute} {self.end}" if self.role == "example" else self.recording


@dataclass(frozen=True)
class Common:
    """What all sounds of a set share."""

    window: Window
    rate_hz: int
    pascal_per_full_scale: float | None
    """The largest of the recordings, at playback level: every sound is brought to it before its gain."""
    level_db: float = 0.0
    """Playback level over that of the recording; in `pascal_per_full_scale` already."""
    ears: Ears = "as recorded"
    response: Response | None = None
    """Of the headphones, to be undone in the files."""


def of_study(chosen: Protocol, protocol_path: Path) -> list[Source]:
    """The recordings that a protocol uses, in table order, then the examples of its attributes."""
    recordings, _ = recorded(chosen, protocol_path)
    base = from_root(protocol_path.parent / chosen.recordings.folder)
    return [_recorded(r) for r in recordings] + [a for t in chosen.attributes for a in _examples(t, base)]


def recorded(chosen: Protocol, protocol_path: Path) -> tuple[list[Recording], StudyCalibration | None]:
    """The recordings that a protocol uses, calibrated by its calibrator where it has one; what that said.

    Raises
    ------
    RecordError, MissingFile, SoundError
        The table has problems; a calibrator's recording is not there or no clean tone.
    StudyError
        The chain drifted between the two recordings of the calibrator.
    """
    recordings = recordings_table.load(chosen, protocol_path)
    own = chosen.recordings.calibrator
    if own is None:
        return recordings, None
    folder = from_root(protocol_path.parent / chosen.recordings.folder)
    found = calibration.of_files(folder, own.before, own.after, level_db=own.level_db)
    if found.drift_db is not None and found.has_drifted:
        raise StudyError(
            f"{own.after}: the calibrator reads {found.drift_db:+.2f} dB of {own.before}, at most "
            f"{calibration.LARGEST_DRIFT_DB} dB wanted; find the cause and record again"
        )
    return recordings_table.calibrated(recordings, found.pascal_per_full_scale), found


def background(chosen: Protocol, protocol_path: Path) -> Path | None:
    """The recording of the room alone, where the study has one."""
    name = chosen.recordings.background
    return None if name is None else from_root(protocol_path.parent / chosen.recordings.folder) / name


def usual_rate_hz(files: Sequence[Path]) -> int:
    """The rate of most of the files, of as many the highest.

    Raises
    ------
    MissingFile, SoundError
        One is not there or cannot be read.
    """
    counts = Counter(wav.rate_hz(file) for file in files)
    return max(counts, key=lambda rate: (counts[rate], rate))


def _recorded(recording: Recording) -> Source:
    return Source(
        file=recording.file,
        recording=recording.recording,
        role="study",
        condition=recording.condition,
        strike=recording.strike,
        pascal_per_full_scale=recording.pascal_per_full_scale,
    )


def _examples(attribute: Attribute, base: Path) -> list[Source]:
    if attribute.examples is None:
        return []
    ends: tuple[tuple[End, str], ...] = (("more", attribute.examples.more), ("less", attribute.examples.less))
    return [
        Source(base / name, Path(name).stem, "example", attribute=attribute.name, end=end)
        for end, name in ends
    ]


def common(chosen: Protocol, found: list[Source], protocol_path: Path) -> Common:
    """What the set shares.

    Raises
    ------
    StudyError
        Some recordings are calibrated and some are not.
    """
    studied = [s for s in found if s.role == "study"]
    scales = [s.pascal_per_full_scale for s in studied if s.pascal_per_full_scale is not None]
    if scales and len(scales) < len(studied):
        raise StudyError(
            f"recordings: {len(scales)} are calibrated and {len(studied) - len(scales)} are not; "
            "fill pascal_per_full_scale for all of them, or for none"
        )
    played = max(scales) * 10.0 ** (chosen.playback.level_db / 20.0) if scales else None
    return common_of(chosen, protocol_path, usual_rate_hz([s.file for s in studied]), played)


def common_of(
    chosen: Protocol, protocol_path: Path, rate_hz: int, pascal_per_full_scale: float | None
) -> Common:
    """What a set of known rate and calibration shares, the calibration at playback level."""
    window = Window(**{name: getattr(chosen.trimming, name) for name in Window.__dataclass_fields__})
    return Common(
        window,
        rate_hz,
        pascal_per_full_scale,
        chosen.playback.level_db,
        chosen.playback.ears,
        _response(chosen, protocol_path, rate_hz),
    )


def _response(chosen: Protocol, protocol_path: Path, rate_hz: int) -> Response | None:
    if chosen.playback.response is None:
        return None
    path = from_root(protocol_path.parent / chosen.recordings.folder) / chosen.playback.response
    low_hz, high_hz = chosen.playback.compensated_hz
    return headphones.load(
        path, rate_hz, boost_limit_db=chosen.playback.boost_limit_db, low_hz=low_hz, high_hz=high_hz
    )


def loaded(source: Source, common: Common) -> Sound:
    """The trimmed sound of a source at the common calibration; an example counts as recorded like the study.

    Raises
    ------
    MissingFile, SoundError
        It is not there, cannot be read, or is too short.
    """
    return trimmed(whole(source, common), common.window)


def whole(source: Source, common: Common) -> Sound:
    """The untrimmed sound of a source at the common calibration and rate."""
    sound = resample.to_rate(wav.load(source.file, common.pascal_per_full_scale), common.rate_hz)
    return to_ears(sound, common.ears).amplified(calibration_db(source, common))


def to_ears(sound: Sound, ears: Ears) -> Sound:
    """The sound as the listener's two ears get it: as it is, one channel for both, or one side silent."""
    if ears == "as recorded" or (ears == "both" and sound.n_channels == 1):
        return sound
    one = sound.mono()
    if ears == "both":
        return one
    silent = np.zeros_like(one.samples)
    both = (one.samples, silent) if ears == "left" else (silent, one.samples)
    return replace(sound, samples=np.hstack(both))


def calibration_db(source: Source, common: Common) -> float:
    """The gain that brings a source to the set's calibration; 0 for an example and without calibration."""
    if source.pascal_per_full_scale is None or common.pascal_per_full_scale is None:
        return 0.0
    ratio = source.pascal_per_full_scale / common.pascal_per_full_scale
    return 20.0 * math.log10(ratio) + common.level_db
