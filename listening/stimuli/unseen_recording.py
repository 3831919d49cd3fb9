"""A recording that was in no test, measured as it would have been played in one; nothing is written."""

from dataclasses import replace
from pathlib import Path

from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.records.protocols.protocol import AS_RECORDED, MATCHED, Protocol
from listening.records.sounds.manifest import Manifest
from listening.stimuli import match, sources, stimulus_file
from listening.stimuli.sources import Source
from listening.stimuli.stimulus_file import DIGITAL_KEYS, Metrics


def as_played(
    file: Path,
    presentation: str,
    *,
    chosen: Protocol,
    protocol_path: Path,
    manifest: Manifest,
    pascal_per_full_scale: float | None = None,
) -> Metrics:
    """The metrics of a recording trimmed, brought to the study's calibration and, if asked, matched.

    Parameters
    ----------
    presentation : `as recorded` or `matched`

    Raises
    ------
    StudyError
        Another presentation, a recording without calibration for a calibrated study, or no match in reach.
    MissingFile, SoundError
        The recording is not there, too short, or of another rate.
    """
    if presentation not in (AS_RECORDED, MATCHED):
        raise StudyError(
            f"a new recording can be played `{AS_RECORDED}` or `{MATCHED}`, not `{presentation}`; choose "
            "one of these"
        )
    if manifest.calibrated and pascal_per_full_scale is None:
        raise StudyError(
            f"{file}: the study is calibrated, this recording is not: say its level with "
            "--pascal-per-full-scale (listening measure --calibrator reads it from a calibrator's recording)"
        )
    common = sources.common_of(chosen, protocol_path, manifest.rate_hz, _playback_scale(manifest))
    newcomer = Source(file, file.stem, "study", pascal_per_full_scale=pascal_per_full_scale)
    sound = sources.loaded(newcomer, common)
    gain_db = manifest.headroom_offset_db
    if presentation == MATCHED:
        gain_db += _matching_gain_db(sound, manifest)
    heard = stimulus_file.for_file(sound, common).amplified(gain_db)
    scaled = replace(heard, pascal_per_full_scale=manifest.pascal_per_full_scale)
    return stimulus_file.at_the_ear(scaled, common)


def _playback_scale(manifest: Manifest) -> float | None:
    """Pascal per full scale before the common headroom offset, which the files are played louder by."""
    if manifest.pascal_per_full_scale is None:
        return None
    return manifest.pascal_per_full_scale * float(10.0 ** (manifest.headroom_offset_db / 20.0))


def _matching_gain_db(sound: Sound, manifest: Manifest) -> float:
    """What brings a sound at the common calibration to the value that the study's stimuli were matched to."""
    metric, target, tolerance_db = manifest.matching_metric, manifest.target, manifest.tolerance_db
    if metric is None or target is None or tolerance_db is None:
        raise StudyError("the study has no matched stimuli; predict for `as recorded`")
    moves = metric in DIGITAL_KEYS or not manifest.calibrated
    before_offset = target - manifest.headroom_offset_db * moves
    return match.gain_db(sound, metric, target=before_offset, tolerance_db=tolerance_db)
