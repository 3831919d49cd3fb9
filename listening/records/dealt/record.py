"""The record of a study: what was done with it, line after line, each hanging on the one before by SHA-256.

A line is never changed and never taken out; whoever does so breaks the chain. Who owns every file and makes
the whole chain again is found by a hash that left the house before: on a deposited page, a report, a note.
"""

import fcntl
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError

from listening.errors import CannotWrite, RecordError
from listening.records.forms import locks
from listening.records.forms.form import Form, digest_of, sync_folder

# `lodged`: the first name of a deposit
Kind = Literal["dealt", "amended", "opening", "analysis", "deposited", "lodged", "step"]


class Entry(Form):
    """One line."""

    n: int
    """Counts from 1."""
    at: str
    """UTC, ISO 8601."""
    kind: Kind
    told: dict[str, Any]
    """What is to be said of it; its words hang on the kind."""
    chain: str
    """SHA-256 over the line before and this one."""


def load(path: Path) -> list[Entry]:
    """Every line, oldest first; none where there is no record. A line cut off by a crash is no line.

    Raises
    ------
    RecordError
        A line is not of this form; it is named.
    """
    if not path.is_file():
        return []
    lines = path.read_text(encoding="utf-8").split("\n")
    found = []
    for number, line in enumerate(lines[:-1], start=1):
        try:
            found.append(Entry.model_validate_json(line))
        except ValidationError as error:
            raise RecordError(
                f"{path}: line {number} cannot be read as a line of the record; restore the file"
            ) from error
    return found


def append(path: Path, *, at: str, kind: Kind, told: dict[str, Any]) -> Entry:
    """Add a line; on disk when this returns.

    Raises
    ------
    CannotWrite
        The file cannot be written.
    RecordError
        It holds something that is no line.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        with os.fdopen(descriptor, "r+b") as file:
            fcntl.flock(file, fcntl.LOCK_EX)
            known = load(path)
            whole = file.read()
            file.seek(whole.rfind(b"\n") + 1)  # over what a crash left of a line
            file.truncate()
            before = known[-1].chain if known else ""
            made = _linked(before, Entry(n=len(known) + 1, at=at, kind=kind, told=told, chain=""))
            file.write(json.dumps(made.model_dump(), ensure_ascii=False).encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
        if not known:
            sync_folder(path.parent)  # the file's name is new
    except OSError as error:
        if error.errno in locks.REFUSED:
            raise CannotWrite(locks.said(path, error)) from error
        raise CannotWrite(
            f"{path}: the record cannot be written ({error.strerror}); free space or make the folder "
            "writable, then run this step again"
        ) from error
    return made


def faults(path: Path) -> Iterator[str]:
    """One line for each line that does not hang in the chain."""
    before = ""
    for number, entry in enumerate(load(path), start=1):
        if entry.n != number:
            yield f"{path}: line {number}: numbered {entry.n}: lines were taken out or put in before it"
        elif _linked(before, entry).chain != entry.chain:
            yield f"{path}: line {number} ({entry.kind}, {entry.at}): not what was written down"
        before = entry.chain


def head(entries: list[Entry]) -> str:
    """Where a record ends; empty without one."""
    return entries[-1].chain if entries else ""


def _linked(before: str, entry: Entry) -> Entry:
    text = json.dumps([before, entry.n, entry.at, entry.kind, entry.told], sort_keys=True, ensure_ascii=False)
    return entry.model_copy(update={"chain": digest_of(text)})
