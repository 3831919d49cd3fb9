"""The ground under every form: strict, frozen, written whole or not at all."""

import glob
import hashlib
import json
import os
import secrets
import time
from contextlib import suppress
from pathlib import Path
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from listening.errors import CannotWrite, RecordError
from listening.records.forms.environment import environment
from listening.records.forms.text import control_at, fault_in, read_text


class Form(BaseModel):
    """A strict, frozen record: unknown keys, NaN and infinity are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)


AS_FIRST_NAMED = {"as": "first named"}
"""Context in which a hash is taken: words that were renamed are dumped as the first version had them."""


class FileForm(Form):
    """A form that is one JSON file; `load` and `save` are its door."""

    environment: str = Field(default="", exclude=True)
    """What wrote the file; stands in the file only, is no part of the content and of no hash."""

    @classmethod
    def load(cls, path: Path) -> Self:
        """The form in the file at `path`.

        Raises
        ------
        MissingFile
            There is no such file.
        RecordError
            The file is empty, cut short, or not this form; every problem is named.
        """
        text = read_text(path)
        _refuse_controls(text, path)
        try:
            return cls.model_validate_json(text).model_copy(update={"environment": ""})
        except ValidationError as error:
            lines = [f"{path}: {place(e['loc'])}: {e['msg']}" for e in error.errors()[:20]]
            raise RecordError(
                "\n".join(lines) + f"\nmake {path.name} again with the step that wrote it"
            ) from error

    def save(self, path: Path, *, private: bool = False) -> None:
        """Write the form to `path`, see `write_bytes`; an interrupted write leaves the old file whole.

        Raises
        ------
        RecordError
            It holds a control character: `load` would refuse the file.
        """
        text = self.file_text()
        is_plain = control_at(text) is None and "\\u" not in text
        if not is_plain and (fault := fault_in(self.model_dump(mode="json"))):
            raise RecordError(f"{path}: {fault}. Nothing was written")
        write_text(path, text, private=private)

    def file_text(self) -> str:
        """What `save` writes."""
        content = self.model_dump(mode="json")
        head = {name: content.pop(name) for name in ("format", "version") if name in content}
        return _json(head | {"environment": environment()} | content)

    def to_json(self) -> str:
        """The form as indented JSON, the same text for the same content."""
        return _json(self.model_dump(mode="json"))

    def digest(self) -> str:
        """SHA-256 of the form's content, whatever its layout on disk; see `hashed`."""
        return digest_of(hashed(self))


def _refuse_controls(text: str, path: Path) -> None:
    """A control character may also be spelled as \\u001b, which a reader turns into one."""
    if "\\u" not in text:
        return
    try:
        fault = fault_in(json.loads(text))
    except (ValueError, RecursionError):
        return  # the form's own reader says what is wrong
    if fault:
        raise RecordError(f"{path}: {fault}; make {path.name} again with the step that wrote it")


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def hashed(form: Form, *, without: frozenset[str] = frozenset()) -> str:
    """What a form's hash is taken of: fields at their default, and the format's number, are left out.

    So a later version may add a field, and the hash of an older file stays what it was. What was renamed
    goes in under its first name (its `serialization_alias`, or `AS_FIRST_NAMED`).
    """
    content = form.model_dump(
        mode="json",
        by_alias=True,
        exclude_defaults=True,
        exclude={"format", *without},
        context=AS_FIRST_NAMED,
    )
    return json.dumps(content, sort_keys=True, separators=(",", ":"))


def digest_of(text: str) -> str:
    """SHA-256 of a text, as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode()).hexdigest()


def place(location: tuple[int | str, ...]) -> str:
    """A key path as people write it: questions[0].contrast.more."""
    text = ""
    for part in location:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text or "the whole file"


def write_text(path: Path, text: str, *, private: bool = False) -> None:
    """Write a file whole or not at all: a temporary file beside it, synced, then renamed."""
    write_bytes(path, text.encode(errors="backslashreplace"), private=private)


def write_over(path: Path, text: str, *, own: str) -> None:
    """Write a file that somebody named; what is there already goes only if `own` shows it is an earlier such.

    Parameters
    ----------
    own : words near the beginning of every text of this kind

    Raises
    ------
    RecordError
        Another file is there.
    CannotWrite
        See `write_bytes`.
    """
    if path.is_file():
        with path.open("rb") as there:
            begins = there.read(READ_TO_TELL).decode(errors="replace")
        if own not in begins:
            raise RecordError(
                f"{path}: is another file, and stays; nothing was done; name a file that is not there"
            )
    write_text(path, text)


def write_bytes(path: Path, content: bytes, *, private: bool = False) -> None:
    """Write a file whole or not at all: a temporary file beside it, synced, then renamed.

    Parameters
    ----------
    private : readable by its owner only, from the first instant; else as the user's umask says

    Raises
    ------
    CannotWrite
        The folder cannot be written or the disk is full; the old file is unharmed.
    """
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        _sweep(path)
        name = path.with_name(f".{path.name[:LONGEST_KEPT]}.{secrets.token_hex(4)}.part")
        with os.fdopen(os.open(name, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _mode(private)), "wb") as file:
            temporary = name
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.replace(path)
        sync_folder(path.parent)
    except OSError as error:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
        raise CannotWrite(
            f"{path}: cannot be written ({error.strerror}); free space or choose a folder you may write to; "
            "nothing was changed"
        ) from error


READ_TO_TELL = 4_000  # bytes of a file that is there, to tell what it is
LEFTOVER_S = 60.0  # a temporary file older than this belongs to a write that was cut off
LONGEST_KEPT = 200  # bytes of a name are limited to 255


def _mode(private: bool) -> int:
    return 0o600 if private else 0o666


def _sweep(path: Path) -> None:
    """Remove what earlier writes of this file left when they were cut off."""
    for leftover in path.parent.glob(f".{glob.escape(path.name[:LONGEST_KEPT])}.*.part"):
        with suppress(OSError):
            if time.time() - leftover.stat().st_mtime > LEFTOVER_S:
                leftover.unlink()


def sync_folder(folder: Path) -> None:
    """The new name survives a power cut too; a file system that cannot do that does it by itself."""
    with suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
