"""`listening new`: start a study folder from a protocol."""

import argparse
import os
import re
from pathlib import Path

from listening.commands import show
from listening.errors import StudyError
from listening.records import protocol
from listening.records.form import read_text, write_text
from listening.records.study import Study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder to make")
    parser.add_argument(
        "--from",
        dest="source",
        type=Path,
        required=True,
        metavar="PROTOCOL.toml",
        help="protocol to start from",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Copy the protocol into a new folder, its recordings folder still found."""
    study = start(args.folder, args.source)
    lines = [
        f"started {study.root} from {args.source}",
        f"read and change {study.protocol}, then: listening check {study.root}",
    ]
    show.result(args, lines, {"study": str(study.root), "protocol": str(study.protocol)})
    return 0


def start(folder: Path, source: Path) -> Study:
    """A study folder with the protocol in it.

    Raises
    ------
    StudyError
        The folder already holds a study.
    RecordError
        The protocol has problems.
    """
    study = Study(folder)
    if study.protocol.exists():
        raise StudyError(
            f"{folder}: already holds a study; choose another folder, or go on with the steps there"
        )
    chosen = protocol.load(source)
    sounds = (source.parent / chosen.recordings.folder).resolve()
    moved = os.path.relpath(sounds, folder.resolve())
    text = re.sub(
        r'(?m)^(folder\s*=\s*)"[^"\n]*"',
        lambda m: f'{m[1]}"{Path(moved).as_posix()}"',
        read_text(source),
        count=1,
    )
    write_text(study.protocol, text)
    return study
