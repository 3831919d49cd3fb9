"""A manifest made up from the recordings table, so that a study can be planned before its sounds are made."""

from listening.records.manifest import Manifest, Stimulus
from listening.records.protocol import Protocol
from listening.records.recordings_table import Recording


def manifest(protocol: Protocol, recordings: list[Recording]) -> Manifest:
    """One stimulus for each recording and presentation, all of one level."""
    stimuli = [
        Stimulus(
            stimulus=f"{recording.recording} {presentation.name}",
            role="study",
            recording=recording.recording,
            condition=recording.condition,
            strike=recording.strike,
            presentation=presentation.name,
            file="",
            digest="",
            gain_db=0.0,
            before={},
            after={"laf_max_db": 0.0},
        )
        for presentation in protocol.presentations
        for recording in recordings
    ]
    return Manifest(
        version="planned",
        protocol_digest="",
        rate_hz=48000,
        calibrated=all(r.pascal_per_full_scale is not None for r in recordings),
        matching_metric=None,
        matching_label="planned",
        target=None,
        tolerance_db=None,
        headroom_offset_db=0.0,
        stimuli=tuple(stimuli),
    )
