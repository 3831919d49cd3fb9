"""Measure all recordings of a study: measures.json, measures.csv, and the curves for the figures."""

import io
from collections.abc import Callable

import numpy as np
from joblib import Parallel, delayed

from listening import __version__
from listening.audio import wav
from listening.metrics import channels, traces, uncertainty
from listening.metrics import measures as metrics
from listening.metrics.comparison.strike_data import Strike
from listening.records import protocol, recordings_table, rows
from listening.records.comparison import Comparisons
from listening.records.environment import environment
from listening.records.form import write_bytes, write_text
from listening.records.measured import MeasuredRecording, Measures, Spread
from listening.records.recordings_table import Recording
from listening.records.study import Study
from listening.steps import comparisons


def run(study: Study, *, jobs: int = 2, on_progress: Callable[[int, int], None] | None = None) -> Measures:
    """Measure every recording that the protocol uses and write what was found.

    Raises
    ------
    RecordError, SoundError, MissingFile, CannotWrite
        The first problem met; earlier files stay as they were.
    """
    chosen = protocol.load(study.protocol)
    recordings = recordings_table.load(chosen, study.protocol)
    length_s = chosen.trimming.length_s - chosen.trimming.before_onset_s
    work = Parallel(n_jobs=jobs, return_as="generator")(delayed(_measured)(r, length_s) for r in recordings)
    measured: list[MeasuredRecording] = []
    curves: traces.Arrays = {}
    strikes: list[Strike] = []
    for row, arrays, strike in work:
        measured.append(row)
        strikes.append(strike)
        curves |= {f"{row.recording}/{name}": array for name, array in arrays.items()}
        if on_progress:
            on_progress(len(measured), len(recordings))
    made = Measures(
        version=__version__,
        protocol_digest=protocol.digest(study.protocol),
        recordings=tuple(measured),
        spreads=tuple(spreads(measured)),
    )
    compared = comparisons.of_factors(recordings, chosen.recordings.factors, strikes, length_s=length_s)
    kept = Comparisons(version=__version__, protocol_digest=made.protocol_digest, comparisons=tuple(compared))
    write_bytes(study.traces, packed(curves))
    kept.save(study.comparisons)
    write_text(study.measures.with_suffix(".csv"), table(made))
    made.save(study.measures)
    return made


def spreads(rows: list[MeasuredRecording]) -> list[Spread]:
    """Mean, standard deviation and expanded uncertainty of each metric over the strikes of each condition."""
    found = []
    for condition in dict.fromkeys(row.condition for row in rows):
        strikes = [row for row in rows if row.condition == condition]
        for metric in strikes[0].measures:
            values = [v for row in strikes if (v := row.measures[metric]) is not None]
            if len(values) == len(strikes):
                found.append(_spread(condition, metric, values, [row.specimen for row in strikes]))
    return found


def packed(curves: traces.Arrays) -> bytes:
    """Arrays named `recording/curve` as one compressed .npz file."""
    file = io.BytesIO()
    curves = {**curves, "environment": np.array(environment())}
    np.savez_compressed(file, **curves)  # type: ignore[arg-type]  # names of arrays, not options
    return file.getvalue()


def table(made: Measures) -> str:
    """The measures as CSV: one recording a row; an empty cell is a value that cannot be had."""
    names = list(made.recordings[0].measures)
    heading = [
        "recording",
        "condition",
        "strike",
        "specimen",
        "calibrated",
        "channel",
        "flags",
        *names,
        "made_with",
    ]
    lines: list[list[object]] = []
    for row in made.recordings:
        values = [row.measures[name] for name in names]
        about = [
            row.recording,
            row.condition,
            row.strike,
            row.specimen,
            row.calibrated,
            row.channel,
            " ".join(row.flags),
        ]
        lines.append([*about, *values, environment()])
    return rows.to_text(heading, lines)


def _measured(recording: Recording, length_s: float) -> tuple[MeasuredRecording, traces.Arrays, Strike]:
    sound = wav.load(recording.file, recording.pascal_per_full_scale)
    channel, number = channels.chosen(sound, recording.channel)
    examined = metrics.examine(channel)
    row = MeasuredRecording(
        recording=recording.recording,
        condition=recording.condition,
        strike=recording.strike,
        specimen=recording.specimen,
        calibrated=sound.calibrated,
        channel=number,
        flags=examined.flags,
        measures=metrics.summarised(sound, examined).as_dict(),
    )
    strike = comparisons.strike(recording, channel, examined, length_s)
    return row, traces.of(channel, examined), strike


def _spread(condition: str, metric: str, values: list[float], units: list[str]) -> Spread:
    found = uncertainty.summary(values, units)
    return Spread(
        condition=condition,
        metric=metric,
        n=found.n_strikes,
        mean=found.mean,
        sd=found.sd if found.sd is not None else found.sd_units,
        expanded_uncertainty=found.expanded_uncertainty,
    )
