"""`listening prepare`: aligned, matched, verified stimuli of a study."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import amount, passphrase, progress, show
from listening.records.study import Study, open_study

if TYPE_CHECKING:
    from listening.records.sounds.manifest import Manifest


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
        help="take the gains that listeners set in an adjustment study; ear_gains.json keeps them",
    )
    parser.add_argument(
        "--check-by-ear", type=Path, metavar="STUDY", help="compare with such gains, and prepare nothing"
    )
    parser.add_argument(
        "--played-at",
        type=float,
        metavar="DB",
        help="what becomes of the match if the set is played so much louder (softer: -DB); prepare nothing",
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Check, prepare, and print what the matching left over in every metric."""
    study = passphrase.of(open_study(args.folder), args)
    from listening.commands.prepare import prepare_tables as tables
    from listening.steps import study_stimuli  # slow to load: a slip in the folder is told before

    if args.check_by_ear is not None:
        found = study_stimuli.gains(args.check_by_ear)
        show.result(args, tables.by_ear(found), found.model_dump(mode="json"))
        return 0
    if args.played_at is not None:
        return _played_at(args, study)
    with progress.bar("preparing stimuli") as on_progress:
        manifest = study_stimuli.prepare(study, by_ear=args.by_ear, jobs=args.jobs, on_progress=on_progress)
    _print(args, study, manifest)
    return 0


def _played_at(args: argparse.Namespace, study: Study) -> int:
    from listening.commands.prepare import prepare_tables as tables
    from listening.records.sounds.manifest import Manifest
    from listening.stimuli import residuals

    manifest = Manifest.load(study.manifest)
    with progress.bar("measuring loudness") as on_progress:
        found = residuals.departure(study.stimuli, manifest, args.played_at, on_progress=on_progress)
    show.result(args, tables.departure(found), {**vars(found), "warns": found.warns})
    return 0


def _print(args: argparse.Namespace, study: Study, manifest: "Manifest") -> None:
    from listening.commands.prepare import prepare_tables as tables
    from listening.records.sounds.ear_gains import EarGains
    from listening.stimuli import residuals

    spreads = residuals.spreads(manifest)
    previews = tables.previews(study, manifest)
    lines = tables.summary(study, manifest)
    if amount.is_everything():
        lines += [*tables.table(spreads), *tables.moved(manifest)]
        lines += [line for found, _ in previews for line in tables.pairs(found)]
    else:
        lines.append("every metric, what was moved, and the pairs to come: -v, or --json")
    lines += tables.level_left(study, manifest)
    lines += tables.cautions(previews)
    if study.ear_gains.is_file():
        lines += tables.by_ear(EarGains.load(study.ear_gains))
    data = {
        "stimuli": len(manifest.stimuli),
        "headroom_offset_db": manifest.headroom_offset_db,
        "matching_metric": manifest.matching_metric,
        "target": manifest.target,
        "spreads": [{**vars(s), "spread": s.spread} for s in spreads],
        "isolated": [
            {"stimulus": s.stimulus, **s.isolated.model_dump(mode="json")}
            for s in manifest.stimuli
            if s.isolated is not None
        ],
        "pairs": [tables.pairs_as_json(found, warnings) for found, warnings in previews],
    }
    show.result(args, lines, data)
