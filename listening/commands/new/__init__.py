"""`listening new`: start a study folder from a protocol, or from a few questions."""

import argparse
import os
import re
from pathlib import Path

from listening.commands.new import new_interview
from listening.console import show
from listening.errors import StudyError
from listening.records.forms.form import write_text
from listening.records.forms.text import from_root, read_text
from listening.records.protocols import protocol
from listening.records.sounds import recordings_table
from listening.records.study import Study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder to make")
    parser.add_argument(
        "--from",
        dest="source",
        type=Path,
        metavar="PROTOCOL.toml",
        help="protocol to start from; without it a few questions are asked",
    )
    new_interview.arguments(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Copy or write the protocol into a new folder."""
    if args.source is not None:
        study = start(args.folder, args.source)
        origin = str(args.source)
    else:
        study = write(args.folder, args)
        origin = "your answers"
    lines = [
        f"started {study.root} from {origin}",
        f"read and change {study.protocol}, then: listening check {study.root}",
    ]
    show.result(args, lines, {"study": str(study.root), "protocol": str(study.protocol)})
    return 0


def start(folder: Path, source: Path) -> Study:
    """A study folder with the protocol in it, its recordings folder still found.

    Raises
    ------
    StudyError
        The folder already holds a study.
    RecordError
        The protocol has problems, or the recordings are not found from the new place.
    """
    study = _empty(folder)
    chosen = protocol.load(source)
    sounds = from_root(source.parent / chosen.recordings.folder)
    moved = os.path.relpath(sounds, from_root(folder))
    text = re.sub(
        r'(?m)^(folder\s*=\s*)("[^"\n]*"|\'[^\'\n]*\')',
        lambda m: f'{m[1]}"{Path(moved).as_posix()}"',
        read_text(source),
        count=1,
    )
    return _placed(study, text)


def write(folder: Path, args: argparse.Namespace, ask: new_interview.Ask | None = None) -> Study:
    """A study folder with a protocol made from answers; raises as `start`."""
    from listening.planning import starters

    study = _empty(folder)
    return _placed(study, starters.text(new_interview.answers(args, folder, ask)))


def _empty(folder: Path) -> Study:
    study = Study(folder)
    if study.protocol.exists():
        raise StudyError(
            f"{folder}: already holds a study; choose another folder, or go on with the steps there"
        )
    return study


def _placed(study: Study, text: str) -> Study:
    """Write the protocol, and take it back if its recordings are not found from there."""
    write_text(study.protocol, text)
    try:
        recordings_table.load(protocol.load(study.protocol), study.protocol)
    except Exception:
        study.protocol.unlink(missing_ok=True)
        raise
    return study
