"""`listening check`: every problem of a protocol and its recordings, at once."""

import argparse
from dataclasses import asdict
from pathlib import Path

from listening.commands import progress, show
from listening.intake import check
from listening.records.problem import Problem
from listening.records.study import open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("study", type=Path, help="study folder, or a protocol file")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems; 2 when one of them stops the study, 0 when there are cautions at most."""
    path = open_study(args.study).protocol if args.study.is_dir() else args.study
    with progress.bar("checking sounds") as on_progress:
        found = check.problems(path, on_progress=on_progress)
    errors = [problem for problem in found if problem.severity == "error"]
    cautions = [problem for problem in found if problem.severity != "error"]
    lines = [*(p.text() for p in errors), *(f"caution: {p.text()}" for p in cautions)]
    lines.append(summary(path, errors, cautions))
    counts = {"protocol": str(path), "errors": len(errors), "cautions": len(cautions)}
    show.result(args, lines, {**counts, "problems": [asdict(p) for p in found]})
    return 2 if errors else 0


def summary(path: Path, errors: list[Problem], cautions: list[Problem]) -> str:
    """How many problems there are and whether the study may go on."""
    if not errors and not cautions:
        return f"{path}: no problem found"
    verdict = "mend the errors, then check again" if errors else "the study may go on"
    return f"{path}: {len(errors)} errors, {len(cautions)} cautions; {verdict}"
