"""Measure all recordings of a study: measures.json, measures.csv, and the curves for the figures."""

import csv
import io
from collections.abc import Callable
from statistics import mean, stdev

from joblib import Parallel, delayed

from listening import __version__
from listening.audio import wav
from listening.metrics import measures as metrics
from listening.records import protocol, recordings_table
from listening.records.form import write_text
from listening.records.measures import MeasuredRecording, Measures, Spread
from listening.records.recordings_table import Recording
from listening.records.study import Study

COVERAGE_FACTOR = 2.0  # GUM (JCGM 100:2008) 6.3.3


def run(study: Study, *, jobs: int = 2, on_progress: Callable[[int, int], None] | None = None) -> Measures:
    """Measure every recording that the protocol uses and write what was found.

    Raises
    ------
    RecordError, SoundError, MissingFile, CannotWrite
        The first problem met; earlier files stay as they were.
    """
    chosen = protocol.load(study.protocol)
    recordings = recordings_table.load(chosen, study.protocol)
    work = Parallel(n_jobs=jobs, return_as="generator")(delayed(_measured)(r) for r in recordings)
    rows = []
    for row in work:
        rows.append(row)
        if on_progress:
            on_progress(len(rows), len(recordings))
    made = Measures(
        version=__version__,
        protocol_digest=protocol.digest(study.protocol),
        recordings=tuple(rows),
        spreads=tuple(spreads(rows)),
    )
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
                found.append(_spread(condition, metric, values))
    return found


def table(made: Measures) -> str:
    """The measures as CSV: one recording a row; an empty cell is a value that cannot be had."""
    names = list(made.recordings[0].measures)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["recording", "condition", "strike", "unit", "calibrated", "flags", *names])
    for row in made.recordings:
        values = [row.measures[name] for name in names]
        writer.writerow(
            [row.recording, row.condition, row.strike, row.unit, row.calibrated, " ".join(row.flags), *values]
        )
    return text.getvalue()


def _measured(recording: Recording) -> MeasuredRecording:
    sound = wav.load(recording.file, recording.pascal_per_full_scale)
    found = metrics.measure(sound)
    return MeasuredRecording(
        recording=recording.recording,
        condition=recording.condition,
        strike=recording.strike,
        unit=recording.unit,
        calibrated=sound.calibrated,
        measures=found.as_dict(),
    )


def _spread(condition: str, metric: str, values: list[float]) -> Spread:
    sd = stdev(values) if len(values) > 1 else None
    expanded = None if sd is None else COVERAGE_FACTOR * sd / len(values) ** 0.5
    return Spread(
        condition=condition,
        metric=metric,
        n=len(values),
        mean=mean(values),
        sd=sd,
        expanded_uncertainty=expanded,
    )
