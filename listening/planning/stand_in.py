"""A manifest made up from the recordings table, so that a study can be planned before its sounds are made."""

from listening.records import metric_register
from listening.records.manifest import Manifest, Stimulus
from listening.records.measured import Measures
from listening.records.protocol import AS_RECORDED, ISOLATED, Protocol
from listening.records.recordings_table import Recording

LEVEL = tuple(metric.key for metric in metric_register.ALL if metric.is_level and not metric.is_peak)


def manifest(protocol: Protocol, recordings: list[Recording], measures: Measures | None = None) -> Manifest:
    """One stimulus for each recording and presentation.

    Parameters
    ----------
    measures : what the recordings were found to be; without it all are of one level and nothing else is known
    """
    known = {r.recording: r.measures for r in measures.recordings} if measures is not None else {}
    stimuli = [
        _stimulus(recording, condition, presentation.name, known.get(recording.recording, {}))
        for presentation in protocol.presentations
        for recording, condition in _made_of(protocol, recordings, presentation.name)
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


def _made_of(
    protocol: Protocol, recordings: list[Recording], presentation: str
) -> list[tuple[Recording, str]]:
    """The recording and the condition of each stimulus of a presentation."""
    isolation = protocol.isolation
    if presentation != ISOLATED or isolation is None:
        return [(r, r.condition) for r in recordings]
    strikes = [r for r in recordings if r.condition == isolation.base]
    return [(r, condition) for condition in isolation.conditions for r in strikes]


def _stimulus(
    recording: Recording, condition: str, presentation: str, measured: dict[str, float | None]
) -> Stimulus:
    # matching will hold level equal, whichever metric of it is taken
    level = {name: 0.0 for name in LEVEL if presentation != AS_RECORDED or name not in measured}
    return Stimulus(
        stimulus=f"{recording.recording} {condition} {presentation}",
        role="study",
        recording=recording.recording,
        condition=condition,
        strike=recording.strike,
        presentation=presentation,
        file="",
        digest="",
        gain_db=0.0,
        before={},
        after={**measured, **level},
    )
