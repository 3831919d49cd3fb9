"""`listening size`: how large a panel a question needs, simulated through the deciding analysis."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from listening.commands.size import size_counts
from listening.console import progress, show, workplaces
from listening.errors import MissingFile, StudyError

if TYPE_CHECKING:
    from listening.commands.size import size_asked, size_table

SIZES = "8,12,16,24,32"


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, nargs="?", help="study folder, or a protocol file")
    parser.add_argument("--question", metavar="ID", help="which planned question (default: the first)")
    parser.add_argument(
        "--effect",
        metavar="WORDS",
        default=None,
        help="true effect: share=0.75 (default), db=2, logit=0.8; share=0.5 for `same`; points=8 for ratings",
    )
    parser.add_argument("--logit-per-db", type=float, metavar="X", help="what a decibel alone does, for db=")
    parser.add_argument("--listeners", default=SIZES, metavar="N,N", help=f"panel sizes (default {SIZES})")
    parser.add_argument(
        "--repeats", default="", metavar="R,R", help="hearings of the planned pair (default: the block's)"
    )
    _of_simulation(parser)
    _of_sounds(parser)
    parser.add_argument(
        "--smallest", action="store_true", help="find the smallest effect that the planned panel finds"
    )
    parser.add_argument(
        "--target", type=float, default=0.8, help="chance of finding it that is aimed at (default 0.8)"
    )
    size_counts.arguments(parser)
    show.json_option(parser)


def _of_simulation(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--studies", type=int, default=200, help="simulated studies for each size (default 200)"
    )
    parser.add_argument("--seed", type=int, default=1, help="same seed, same studies (default 1)")
    parser.add_argument(
        "--jobs",
        type=workplaces.where,
        default=os.cpu_count() or 1,
        metavar="N",
        help="processes (default: all cores), or tcp://HOST:PORT of a Dask scheduler",
    )


def _of_sounds(parser: argparse.ArgumentParser) -> None:
    """Strikes and specimens, and how far they and the listeners are apart."""
    parser.add_argument(
        "--strikes",
        type=int,
        metavar="N",
        help="as if each specimen had so many (default: those of the table)",
    )
    parser.add_argument(
        "--specimens",
        type=int,
        metavar="N",
        help="as if each sound had so many (default: those of the table)",
    )
    parser.add_argument(
        "--spread-listeners",
        type=float,
        metavar="SD",
        help="standard deviation of listeners' own effects, logit, or points for ratings",
    )
    parser.add_argument(
        "--spread-stimuli", type=float, metavar="SD", help="standard deviation of strikes, likewise"
    )
    parser.add_argument(
        "--spread-specimens",
        type=float,
        metavar="SD",
        help="standard deviation of specimens, likewise (default 0)",
    )
    parser.add_argument(
        "--pilot", type=Path, metavar="STUDY", help="take both standard deviations from a pilot's answers"
    )


def run(args: argparse.Namespace) -> int:
    """Simulate, print the table, and write the figure."""
    if args.task:
        return size_counts.run(args)
    if args.folder is None:
        raise StudyError("name a study folder or a protocol file, or a discrimination task with --task")
    if not args.folder.exists():
        raise MissingFile(f"{args.folder}: no such study folder or protocol file")
    from listening.commands.size import size_asked, size_table  # slow to load: a slip is told before

    asked = size_asked.asked(args)
    with progress.bar("simulated studies") as on_progress:
        found = size_table.simulate(asked, on_progress=on_progress)
    lines, data = size_table.lines(asked, found), size_table.as_json(asked, found)
    lines += _figure(asked, found, data)
    show.result(args, lines, data)
    return 0


def _figure(asked: "size_asked.Asked", found: "size_table.Found", data: dict[str, Any]) -> list[str]:
    from listening.commands.size import size_table
    from listening.records.forms.form import write_text
    from listening.report.figures import power_figure

    series = size_table.series(found, power_figure.Point)
    path = asked.place / f"size_{asked.question.id}.svg"
    title = f"{asked.question.id}: {asked.effect.said}"
    write_text(path, power_figure.svg(series, title=title, target=asked.target))
    data["figure"] = str(path)
    return [f"figure: {path}"]
