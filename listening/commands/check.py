"""`listening check`: every problem of a protocol and its recordings, at once."""

import argparse
from dataclasses import asdict
from pathlib import Path

from listening.console import progress, show
from listening.errors import ListeningError
from listening.intake import study_check
from listening.records import protocol, recordings_table
from listening.records.measured import Measures
from listening.records.problem import Problem
from listening.records.study import Study, open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("study", type=Path, help="study folder, or a protocol file")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the problems; 2 when one of them stops the study, 0 when there are cautions at most."""
    path = open_study(args.study).protocol if args.study.is_dir() else args.study
    with progress.bar("checking sounds") as on_progress:
        found = study_check.problems(path, on_progress=on_progress)
    budget_lines, objections = _planning(path, found)
    found = [*found, *objections]
    errors = [problem for problem in found if problem.severity == "error"]
    cautions = [problem for problem in found if problem.severity != "error"]
    lines = [*(p.text() for p in errors), *(f"caution: {p.text()}" for p in cautions), *budget_lines]
    lines.append(summary(path, errors, cautions))
    counts = {"protocol": str(path), "errors": len(errors), "cautions": len(cautions)}
    told = {**counts, "problems": [asdict(p) for p in found], "budget": budget_lines}
    show.result(args, lines, told)
    return 2 if errors else 0


def _planning(path: Path, found: list[Problem]) -> tuple[list[str], list[Problem]]:
    """The trial budget and what a reader would object to, once nothing stops the study."""
    if any(problem.severity == "error" for problem in found):
        return [], []
    from listening.planning import budget, criticism, stand_in

    chosen = protocol.load(path)
    recordings = recordings_table.load(chosen, path)
    measured = Study(path.parent).measures
    measures = Measures.load(measured) if measured.is_file() else None
    try:
        own = budget.of_study(chosen, stand_in.manifest(chosen, recordings))
    except ListeningError:  # what cannot be dealt is among the objections
        return [], criticism.criticise(chosen, recordings, path, measures=measures)
    objections = criticism.criticise(chosen, recordings, path, measures=measures, own=own)
    return ["trial budget, for the listener with most to do:", *budget.lines(own)], objections


def summary(path: Path, errors: list[Problem], cautions: list[Problem]) -> str:
    """How many problems there are and whether the study may go on."""
    if not errors and not cautions:
        return f"{path}: no problem found"
    verdict = "mend the errors, then check again" if errors else "the study may go on"
    return f"{path}: {len(errors)} errors, {len(cautions)} cautions; {verdict}"
