"""A manifest made up from the recordings table, so that a study can be planned before its sounds are made."""

from dataclasses import replace

from listening.records.kinds import metric_register
from listening.records.protocols.protocol import AS_RECORDED, ISOLATED, Protocol
from listening.records.sounds.manifest import Manifest, Stimulus
from listening.records.sounds.measured import Measures
from listening.records.sounds.recordings_table import Recording

LEVELS_APART_DB = 3.0  # as recorded, where no sound was measured yet: our own estimate
LEVEL = tuple(metric.key for metric in metric_register.ALL if metric.is_level and not metric.is_peak)


def supposed(recordings: list[Recording], *, strikes: int | None, specimens: int | None) -> list[Recording]:
    """Recordings as if each condition had so many specimens, each struck so often; as they are if None."""
    if strikes is None and specimens is None:
        return recordings
    made = []
    for condition in dict.fromkeys(r.condition for r in recordings):
        mine = [r for r in recordings if r.condition == condition]
        own = list(dict.fromkeys(r.specimen for r in mine))
        names = own if specimens is None else [f"{i + 1}" for i in range(specimens)]
        each = strikes or max(sum(r.specimen == name for r in mine) for name in own)
        made += [
            replace(mine[0], recording=f"{condition} {name} {i + 1}", strike=f"{i + 1}", specimen=name)
            for name in names
            for i in range(each)
        ]
    return made


def specimens(recordings: list[Recording]) -> dict[str, str]:
    """Of each recording, the specimen it was made of: specimens of two conditions are two."""
    return {r.recording: f"{r.condition} {r.specimen}" for r in recordings}


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


def with_levels(made: Manifest) -> Manifest:
    """Levels as recorded where none was measured: conditions evenly spread, as a set of designs may be."""
    recorded = [s for s in made.stimuli if s.presentation == AS_RECORDED]
    if len({s.after.get("laf_max_db") for s in recorded}) != 1:
        return made
    names = sorted({s.condition for s in recorded})
    step_db = 2 * LEVELS_APART_DB / max(len(names) - 1, 1)
    above_db = {name: i * step_db - LEVELS_APART_DB for i, name in enumerate(names)}
    return made.model_copy(
        update={
            "stimuli": tuple(
                _louder(s, above_db[s.condition]) if s.presentation == AS_RECORDED else s
                for s in made.stimuli
            )
        }
    )


def _louder(stimulus: Stimulus, above_db: float) -> Stimulus:
    after = {name: (value or 0.0) + above_db for name, value in stimulus.after.items()}
    return stimulus.model_copy(update={"after": after})


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
