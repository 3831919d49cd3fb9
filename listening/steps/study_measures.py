"""Measure all recordings of a study: measures.json, measures.csv, and the curves for the figures."""

import io
import zipfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from joblib import Parallel, delayed

from listening import __version__
from listening.audio import resample, wav
from listening.metrics import channels, traces, uncertainty
from listening.metrics import measures as metrics
from listening.metrics.calibration import StudyCalibration
from listening.metrics.comparison.strike_data import Strike
from listening.records.forms import rows
from listening.records.forms.environment import environment
from listening.records.forms.form import write_bytes, write_text
from listening.records.found.comparison import Comparisons
from listening.records.protocols import protocol
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.measured import CalibratorFound, MeasuredRecording, Measures, Spread
from listening.records.sounds.recordings_table import AVERAGE, Recording
from listening.records.study import Study
from listening.steps import comparisons, factor_comparisons
from listening.stimuli import sources
from listening.stimuli.work import from_here

RESAMPLED = "resampled"  # flag of a recording that had another rate than most


def run(study: Study, *, jobs: int = 2, on_progress: Callable[[int, int], None] | None = None) -> Measures:
    """Measure every recording that the protocol uses and write what was found.

    Raises
    ------
    RecordError, SoundError, MissingFile, CannotWrite
        The first problem met; earlier files stay as they were.
    """
    chosen = protocol.load(study.protocol)
    recordings, calibrator = sources.recorded(chosen, study.protocol)
    length_s = chosen.trimming.length_s - chosen.trimming.before_onset_s
    common = Common(
        rate_hz=sources.usual_rate_hz([r.file for r in recordings]),
        length_s=length_s,
        background=sources.background(chosen, study.protocol),
    )
    measure = delayed(from_here(_measured) if jobs != 1 else _measured)
    work = Parallel(n_jobs=jobs, return_as="generator")(measure(r, common) for r in recordings)
    measured: list[MeasuredRecording] = []
    curves = PackedCurves()
    strikes: list[Strike] = []
    for row, arrays, strike in work:
        measured.append(row)
        strikes.append(strike)
        curves.add(row.recording, arrays)  # while the next ones are measured
        if on_progress:
            on_progress(len(measured), len(recordings))
    made = Measures(
        version=__version__,
        protocol_digest=protocol.digest(study.protocol),
        calibrator=_calibrator(calibrator, chosen),
        background=chosen.recordings.background,
        recordings=tuple(measured),
        spreads=tuple(spreads(measured)),
    )
    factors = chosen.recordings.factors
    strikes = comparisons.with_common_poles(recordings, factors, strikes, jobs=jobs)
    compared = factor_comparisons.of_factors(
        recordings, factors, strikes, length_s=length_s, label=chosen.label
    )
    kept = Comparisons(version=__version__, protocol_digest=made.protocol_digest, comparisons=tuple(compared))
    write_bytes(study.traces, curves.content())
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


class PackedCurves:
    """Arrays named `recording/curve`, packed into the bytes of one .npz file as they come."""

    def __init__(self) -> None:
        self._file = io.BytesIO()
        self._zip = zipfile.ZipFile(self._file, "w", zipfile.ZIP_DEFLATED)

    def add(self, recording: str, arrays: traces.Arrays) -> None:
        """The curves of one recording."""
        for name, array in arrays.items():
            self._write(f"{recording}/{name}", array)

    def content(self) -> bytes:
        """The whole file; nothing can be added afterwards."""
        self._write("environment", np.array(environment()))
        self._zip.close()
        return self._file.getvalue()

    def _write(self, name: str, array: np.ndarray) -> None:
        with self._zip.open(f"{name}.npy", "w", force_zip64=True) as entry:
            np.lib.format.write_array(entry, array, allow_pickle=False)


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
        lines.append([*about, *values])
    return rows.to_text(heading, lines)


@dataclass(frozen=True)
class Common:
    """What the recordings of a study share while they are measured."""

    rate_hz: int
    length_s: float
    """after the onset, over which energies are taken"""
    background: Path | None
    """the room alone"""


def _calibrator(found: StudyCalibration | None, chosen: Protocol) -> CalibratorFound | None:
    if found is None or chosen.recordings.calibrator is None:
        return None
    return CalibratorFound(level_db=chosen.recordings.calibrator.level_db, **asdict(found))


def _measured(recording: Recording, common: Common) -> tuple[MeasuredRecording, traces.Arrays, Strike]:
    whole = wav.for_measuring(recording.file, recording.pascal_per_full_scale)
    sound = resample.to_rate(whole, common.rate_hz)
    parts = channels.all_or_one(sound, recording.channel)
    examined = [metrics.examine(channel) for channel, _ in parts]
    found = metrics.averaged([metrics.summarised(sound, one) for one in examined])
    strike = comparisons.strike(recording, parts, examined, common.length_s, background=common.background)
    row = MeasuredRecording(
        recording=recording.recording,
        condition=recording.condition,
        strike=recording.strike,
        specimen=recording.specimen,
        calibrated=sound.calibrated,
        channel=AVERAGE if recording.channel == AVERAGE else parts[0][1],
        flags=(*found.flags, *((RESAMPLED,) if sound is not whole else ())),
        measures=found.as_dict() | _over_room(strike, common),
    )
    loudest = max(range(len(parts)), key=lambda i: examined[i].levels.laf_max_db)
    return row, traces.of(parts[loudest][0], examined[loudest]), strike


def _over_room(strike: Strike, common: Common) -> dict[str, float | None]:
    """LAE of the strike alone, where the room was recorded."""
    return {} if common.background is None else {"lae_db": strike.numbers["lae_db"]}


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
