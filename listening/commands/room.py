"""`listening room`: note how the room is; each sitting begun from then on keeps it."""

import argparse
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from listening.console import show
from listening.errors import ListeningError, StudyError
from listening.records.dealt.room import Room
from listening.records.study import Study

NUMBERS = {
    "noise_db": ("DB", "background noise at the listener's place, dB(A)"),
    "temperature_c": ("C", "air temperature, degrees Celsius"),
    "humidity_percent": ("P", "relative humidity, percent"),
    "reverberation_s": ("S", "reverberation time, s"),
}
TEXTS = {
    "light": "light: dim, daylight",
    "odour": "odour, if there is any",
    "place": "where the listener sits, and loudspeakers",
    "remark": "anything else",
    "noted_by": "initials or a code of who notes it",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder; only its station folder is needed")
    for name, (unit, told) in NUMBERS.items():
        parser.add_argument(_option(name), type=float, metavar=unit, help=told)
    for name, told in TEXTS.items():
        parser.add_argument(_option(name), metavar="TEXT", help=told)
    parser.add_argument("--forget", action="store_true", help="drop what was noted")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Note, forget, or show."""
    study = Study(args.folder)
    if not study.plan.is_file():
        raise StudyError(f"{study.plan}: no such file; deal the study first: listening deal {study.root}")
    given = {name: getattr(args, name) for name in (*NUMBERS, *TEXTS) if getattr(args, name) is not None}
    if args.forget:
        study.room.unlink(missing_ok=True)
    elif given:
        _room(given).save(study.room)
    noted = Room.load(study.room) if study.room.is_file() else None
    lines = [noted.told() if noted else "nothing is noted of the room"]
    lines += ["every sitting begun or resumed from now on keeps this line"] if given and noted else []
    show.result(args, lines, {"room": noted.model_dump() if noted else None})
    return 0


def _room(given: dict[str, Any]) -> Room:
    now = datetime.now(UTC).isoformat(timespec="seconds")
    try:
        return Room(noted_at=now, **given)
    except ValidationError as error:
        first = error.errors()[0]
        name = str(first["loc"][0])
        raise ListeningError(f"{_option(name)}: found `{given[name]}`; {first['msg']}") from None


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"
