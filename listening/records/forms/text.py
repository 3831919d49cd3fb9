"""Text from a file, however it was saved, and text for a screen: the one place where either is decided."""

import os
import re
import stat
import tomllib
from pathlib import Path
from typing import Any

from listening.errors import MissingFile, RecordError

LARGEST_BYTES = 1_000_000_000
MARKS = {  # byte-order marks, the longer first
    b"\xef\xbb\xbf": "utf-8-sig",
    b"\xff\xfe\x00\x00": "utf-32",
    b"\x00\x00\xfe\xff": "utf-32",
    b"\xff\xfe": "utf-16",
    b"\xfe\xff": "utf-16",
}
DEEPEST = 40  # tables within tables; a form of ours has 5
_OBEYED = re.compile(  # all control characters but tab and line end, those that turn the writing, half pairs
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
)


def read_text(path: Path) -> str:
    """The text of a file: UTF-8, or what its byte-order mark says.

    Raises
    ------
    MissingFile
        There is no such file.
    RecordError
        It is empty, a folder, a pipe or a device, too large, cannot be read, is no text, or holds a control
        character (which a terminal would obey).
    """
    return checked(decoded(read_bytes(path), path), path)


def read_bytes(path: Path) -> bytes:
    """The bytes of a file, which must be a plain one: nothing here ever waits for a pipe.

    Raises
    ------
    MissingFile, RecordError
        As `read_text`.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
        with os.fdopen(descriptor, "rb") as file:
            _check_kind(os.fstat(descriptor), path)
            return file.read()
    except FileNotFoundError as error:
        raise MissingFile(f"{path}: no such file; check the path, or run the step that writes it") from error
    except IsADirectoryError as error:
        raise RecordError(f"{path}: is a folder, a file was wanted") from error
    except OSError as error:
        raise RecordError(f"{path}: cannot be read ({error.strerror})") from error
    except ValueError as error:  # a null character in the name
        raise RecordError(f"{str(path)!r}: not a file name ({error}); give another one") from error


def from_root(path: Path) -> Path:
    """The path from the root, links followed as far as they lead anywhere: no loop of links stops it."""
    return Path(os.path.realpath(path))


def decoded(content: bytes, path: Path) -> str:
    """Bytes as text, line ends as one character; raises RecordError where they are none."""
    form = next((form for mark, form in MARKS.items() if content.startswith(mark)), "utf-8")
    try:
        text = content.decode(form)
    except UnicodeDecodeError as error:
        raise RecordError(
            f"{path}: not {form.removesuffix('-sig').upper()} text at byte {error.start}; save it as UTF-8"
        ) from error
    return text.replace("\r\n", "\n").replace("\r", "\n")


def checked(text: str, path: Path) -> str:
    """The text, which is not empty and holds nothing that a terminal would obey; raises RecordError."""
    if not text.strip():
        raise RecordError(f"{path}: the file is empty (0 characters); make it again or restore a copy")
    if (at := control_at(text)) is not None:
        line = text.count("\n", 0, at) + 1
        raise RecordError(
            f"{path}, line {line}: found the control character U+{ord(text[at]):04X}, wanted text; delete it"
        )
    return text


def read_toml(path: Path) -> tuple[str, dict[str, Any]]:
    """The text of a TOML file and what it holds.

    Raises
    ------
    MissingFile, RecordError
        As `read_text`; or it is no TOML, a number in it is too long, tables are nested too deep, or a text in
        it holds a control character.
    """
    text = read_text(path)
    return text, loads_toml(text, path)


def loads_toml(text: str, path: Path) -> dict[str, Any]:
    """What a TOML text holds; `path` is what the message names. Raises as `read_toml`."""
    try:
        raw = tomllib.loads(text)
    except RecursionError:
        raise RecordError(f"{path}: tables within tables too deep; wanted at most {DEEPEST}") from None
    except ValueError as error:
        raise RecordError(f"{path}: not valid TOML ({error}); mend that line") from error
    if fault := fault_in(raw):
        raise RecordError(f"{path}: {fault}")
    return raw


def fault_in(raw: Any) -> str:
    """What no file of ours may hold, a control character or tables too deep: the first one, in words."""
    waiting: list[tuple[str, Any, int]] = [("", raw, 0)]
    while waiting:
        name, value, depth = waiting.pop()
        if depth > DEEPEST:
            return f"tables within tables too deep ({name[:60]}...); wanted at most {DEEPEST}"
        if isinstance(value, dict):
            if bad := next((key for key in value if control_at(key) is not None), None):
                return f"the key {plain(bad)} holds a control character; delete it"
            waiting += [(f"{name}.{key}" if name else key, inner, depth + 1) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [(f"{name}[{i}]", inner, depth + 1) for i, inner in enumerate(value)]
        elif isinstance(value, str) and control_at(value) is not None:
            return f"{name}: found the control character in {plain(value)[:80]}, wanted text; delete it"
    return ""


def control_at(text: str) -> int | None:
    """Where the first character stands that is no text: control, turning, half a pair; None: nowhere."""
    found = _OBEYED.search(text)
    return None if found is None else found.start()


def plain(text: str) -> str:
    """A text for a screen or a page: what a terminal would obey is spelled out, such as \\x1b."""
    return _OBEYED.sub(_spelled, text)


def _spelled(found: re.Match[str]) -> str:
    code = ord(found[0])
    return f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}"


def _check_kind(found: os.stat_result, path: Path) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise RecordError(f"{path}: is a folder, a file was wanted")
    if not stat.S_ISREG(found.st_mode):
        raise RecordError(f"{path}: is a pipe or a device, a plain file was wanted; save it to a file first")
    if found.st_size > LARGEST_BYTES:
        raise RecordError(
            f"{path}: {found.st_size / 1e9:.1f} GB, wanted at most {LARGEST_BYTES / 1e9:g} GB; split it"
        )
