"""`listening check`: every problem of a protocol and its recordings, at once."""

import argparse
from pathlib import Path

from listening.console import progress, show
from listening.errors import MissingFile
from listening.records.study import open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("study", type=Path, help="study folder, or a protocol file")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems; 2 when one of them stops the study, 0 when there are cautions at most."""
    path = open_study(args.study).protocol if args.study.is_dir() else args.study
    if not path.exists():
        raise MissingFile(f"{path}: no such file; check the path, or run the step that writes it")
    from listening.steps import study_checks  # slow to load: a slip in the path is told before

    with progress.bar("checking sounds") as on_progress:
        found = study_checks.check(path, on_progress=on_progress)
    show.result(args, [found.summary()], found.to_dict())
    return 2 if found.errors else 0
