"""`listening import`: findings and page from a table of answers collected elsewhere."""

import argparse
import hashlib
import json
from pathlib import Path

from listening.console import show
from listening.errors import ListeningError, MissingFile
from listening.records.dealt.imported import About, load
from listening.records.forms.form import write_bytes
from listening.records.forms.text import read_bytes
from listening.records.found.findings import Findings
from listening.records.study import Study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "table",
        type=Path,
        metavar="TABLE.csv",
        help="columns first, second and answer (first, second, tie); or first, second, chosen_first, "
        "chosen_second and perhaps no_difference, with counts; optional listener, count, stimulus_first, "
        "stimulus_second",
    )
    parser.add_argument("folder", type=Path, help="study folder to make")
    parser.add_argument(
        "--about",
        type=Path,
        metavar="ABOUT.toml",
        help="what the columns are called, what was asked, how conditions are called in print, and the "
        "questions to hold against the table",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Read the table, keep a copy of it, and write findings.json; the page comes with `report`."""
    study = Study(args.folder)
    if study.protocol.exists():
        raise ListeningError(
            f"{study.root} holds a study of its own (protocol.toml); name another folder for the table"
        )
    if not args.table.is_file():
        raise MissingFile(f"{args.table}: no such file; give the path of a CSV table")
    about = load(args.about) if args.about else plain(args.table)
    found = of_table(args.table, about, name=args.table.name)
    write_bytes(study.imported, read_bytes(args.table))
    write_bytes(study.about, read_bytes(args.about) if args.about else _as_toml(about))
    found.save(study.findings)
    show.result(args, _lines(found, study), found.model_dump(mode="json"))
    return 0


def plain(table: Path) -> About:
    """What is known of a table about which nothing is said."""
    return About(name=table.stem.lstrip(".")[:60] or "table", title=f"Answers of {table.name}")


def of_table(table: Path, about: About, *, name: str) -> Findings:
    """The findings of a table.

    Parameters
    ----------
    name : of the file as it came, for the page
    """
    from listening.analysis.imported import imported_table
    from listening.commands.import_table import import_rows  # slow to load: slips are told before

    rows = import_rows.read(table, about)
    digest = hashlib.sha256(read_bytes(table)).hexdigest()
    return imported_table.findings(about, rows, table=name, digest=digest)


def _as_toml(about: About) -> bytes:
    name, title = (json.dumps(text, ensure_ascii=False) for text in (about.name, about.title))
    return f"format = 1\nname = {name}\ntitle = {title}\n".encode()


def _lines(found: Findings, study: Study) -> list[str]:
    from listening.report.sentences import sentences

    panel = found.panel
    who = f"{panel.n_listeners} listeners" if panel.n_listeners else "listeners not identified"
    lines = [f"{panel.n_answers} answers, {who}", ""]
    for question in found.questions:
        lines += [question.id, f"  {sentences.printable(question, found)}", ""]
    return [*lines, f"findings: {study.findings}", f"next: listening report {study.root}"]
