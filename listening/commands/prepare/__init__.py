"""`listening prepare`: aligned, matched, verified stimuli of a study."""

import argparse
import os
from datetime import UTC, datetime
from pathlib import Path

from listening.analysis.collect import adjustments
from listening.commands.prepare import prepare_tables as tables
from listening.console import progress, show
from listening.errors import StudyError
from listening.intake import study_check
from listening.records.ear_gains import EarGains
from listening.records.manifest import Manifest
from listening.records.problem import listing
from listening.records.study import Study, open_study
from listening.stimuli import preparation, residuals


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder")
    parser.add_argument(
        "--jobs", type=int, default=os.cpu_count() or 1, help="processes (default: all cores)"
    )
    parser.add_argument(
        "--by-ear",
        type=Path,
        metavar="STUDY",
        help="take the gains that listeners set in an adjustment study; they stay until ear_gains.json goes",
    )
    parser.add_argument(
        "--check-by-ear", type=Path, metavar="STUDY", help="compare with such gains, and prepare nothing"
    )
    parser.add_argument(
        "--played-at",
        type=float,
        metavar="DB",
        help="say what playing the prepared set so far from its level does to the match; prepare nothing",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Check, prepare, and print what the matching left over in every metric."""
    study = open_study(args.folder)
    if args.check_by_ear is not None:
        found = _gains(args.check_by_ear)
        show.result(args, tables.by_ear(found), found.model_dump(mode="json"))
        return 0
    if args.played_at is not None:
        return _played_at(args, study)
    refuse_problems(study)
    if args.by_ear is not None:
        _gains(args.by_ear).save(study.ear_gains)
    with progress.bar("preparing stimuli") as on_progress:
        manifest = preparation.run(study, on_progress=on_progress, jobs=max(1, args.jobs))
    _print(args, study, manifest)
    return 0


def refuse_problems(study: Study) -> None:
    """Stop a study that `check` would stop.

    Raises
    ------
    StudyError
        With every error that was found.
    """
    found = [problem for problem in study_check.problems(study.protocol) if problem.severity == "error"]
    if found:
        raise StudyError(f"the study has {len(found)} errors:\n{listing(found)}")


def _gains(folder: Path) -> EarGains:
    return adjustments.of_study(
        open_study(folder), now=lambda: datetime.now(UTC).isoformat(timespec="seconds")
    )


def _played_at(args: argparse.Namespace, study: Study) -> int:
    manifest = Manifest.load(study.manifest)
    with progress.bar("measuring loudness") as on_progress:
        found = residuals.departure(study.stimuli, manifest, args.played_at, on_progress=on_progress)
    show.result(args, tables.departure(found), {**vars(found), "warns": found.warns})
    return 0


def _print(args: argparse.Namespace, study: Study, manifest: Manifest) -> None:
    spreads = residuals.spreads(manifest)
    previews = tables.previews(study, manifest)
    lines = [*tables.summary(study, manifest), *tables.table(spreads), *tables.moved(manifest)]
    lines += [line for found, warnings in previews for line in tables.pairs(found, warnings)]
    if study.ear_gains.is_file():
        lines += tables.by_ear(EarGains.load(study.ear_gains))
    data = {
        "stimuli": len(manifest.stimuli),
        "headroom_offset_db": manifest.headroom_offset_db,
        "matching_metric": manifest.matching_metric,
        "target": manifest.target,
        "spreads": [{**vars(s), "spread": s.spread} for s in spreads],
        "pairs": [tables.pairs_as_json(found, warnings) for found, warnings in previews],
    }
    show.result(args, lines, data)
