"""`listening measure`: the recordings of a study, or single sounds without a study."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import progress, show
from listening.errors import MissingFile, SoundError
from listening.records.kinds import metric_register
from listening.records.study import Study, open_study

if TYPE_CHECKING:
    from listening.records.sounds.measured import Measures


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "paths", type=Path, nargs="+", metavar="FOLDER|SOUND", help="a study folder, or sound files"
    )
    parser.add_argument(
        "--pascal-per-full-scale",
        type=float,
        metavar="X",
        help="calibration of single sounds; a study has its table",
    )
    parser.add_argument(
        "--calibrator",
        type=Path,
        metavar="SOUND",
        help="a recording of the sound calibrator with the same gain: calibrates single sounds",
    )
    parser.add_argument(
        "--calibrator-level",
        type=float,
        default=94.0,
        metavar="DB",
        help="what the calibrator gives, 94 or 114 dB (default 94)",
    )
    parser.add_argument(
        "--together",
        action="store_true",
        help="single sounds are strikes of one object: also the partials that they share",
    )
    parser.add_argument("--jobs", type=int, default=2, help="processes at work on a study (default 2)")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Measure a study when the one path is a folder, else each sound."""
    if len(args.paths) == 1 and args.paths[0].is_dir():
        return _measure_study(args, open_study(args.paths[0]))
    for path in args.paths:
        if not path.is_file():
            raise MissingFile(f"{path}: no such file; check the name and the folder")
    return _measure_sounds(args)


def _measure_study(args: argparse.Namespace, study: Study) -> int:
    from listening.records.protocols import protocol
    from listening.steps import early_workers

    protocol.load(study.protocol)  # a mistake in it is told before anything starts
    ready = early_workers.start(args.jobs)
    from listening.steps import study_measures  # half a second, in which the processes load it too

    for _ in ready:
        pass
    with progress.bar("measuring") as on_progress:
        made = study_measures.run(study, jobs=args.jobs, on_progress=on_progress)
    show.result(args, _lines(study, made), made.model_dump(mode="json"))
    return 0


def _measure_sounds(args: argparse.Namespace) -> int:
    from listening.steps import sound_lines, sound_measures

    pascal_per_full_scale = _calibration(args)
    with progress.bar("measuring") as on_progress:
        found = []
        for done, path in enumerate(args.paths):
            on_progress(done, len(args.paths))
            found.append(sound_measures.measured(path, pascal_per_full_scale))
        shared = sound_measures.together(args.paths, pascal_per_full_scale) if args.together else []
    lines = [line for one in found for line in sound_lines.lines(one)]
    if not args.together:
        show.result(args, lines, found)
        return 0
    lines += sound_lines.shared_lines(shared, "sounds") if shared else ["  no partial common to all sounds"]
    show.result(args, lines, {"sounds": found, "shared_partials": shared})
    return 0


def _calibration(args: argparse.Namespace) -> float | None:
    """Pascal per full scale, given or from the calibrator's recording."""
    if args.calibrator is None:
        given: float | None = args.pascal_per_full_scale
        return given
    if args.pascal_per_full_scale is not None:
        raise SoundError("--pascal-per-full-scale and --calibrator both given; one of them wanted")
    from listening.audio import wav
    from listening.metrics import calibration

    tone = wav.load(args.calibrator)
    return calibration.from_calibrator(tone, level_db=args.calibrator_level).pascal_per_full_scale


def _lines(study: Study, made: "Measures") -> list[str]:
    conditions = list(dict.fromkeys(s.condition for s in made.spreads))
    cells = {(s.condition, s.metric): f"{s.mean:.2f} ±{s.sd or 0.0:.2f}" for s in made.spreads}
    summary = [metric.key for metric in metric_register.ALL if metric.in_summary]
    shown = [m for m in summary if any(metric == m for _, metric in cells)]
    n = len(made.recordings)
    return [
        f"measured {n} recordings of {len(conditions)} conditions; mean ± standard deviation over strikes",
        *_chain(made),
        *_tables(conditions, shown, cells),
        f"all of it: {study.measures} and {study.measures.with_suffix('.csv')}",
    ]


def _chain(made: "Measures") -> list[str]:
    """What calibrator, room and rates did to the numbers."""
    lines = []
    if (chain := made.calibrator) is not None:
        drift = "recorded once, so no drift is known"
        if chain.drift_db is not None:
            drift = f"drift {chain.drift_db:+.2f} dB from before to after"
        lines.append(
            f"calibrator {chain.level_db:g} dB at {chain.frequency_hz:.0f} Hz: "
            f"{chain.pascal_per_full_scale:.5g} Pa per full scale, {drift}"
        )
    if made.background is not None:
        lines.append(f"the room ({made.background}) is taken off LAE and energies")
    resampled = sum("resampled" in r.flags for r in made.recordings)
    if resampled:
        lines.append(f"{resampled} recordings of another rate were resampled (soxr)")
    return lines


def _tables(conditions: list[str], shown: list[str], cells: dict[tuple[str, str], str]) -> list[str]:
    """Tables of at most three metrics, so that 80 columns hold each."""
    widest = max(map(len, conditions))
    lines = []
    for start in range(0, len(shown), 3):
        part = shown[start : start + 3]
        lines.append(" " * widest + "".join(f"{metric:>20}" for metric in part))
        lines += [
            f"{c:<{widest}}" + "".join(f"{cells.get((c, m), '-'):>20}" for m in part) for c in conditions
        ]
    return lines
