"""Where below a folder a listener's words still stand: in plain and packed files, tables, names of files."""

import bz2
import gzip
import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Protocol

SOUNDS = {".wav", ".flac", ".npz", ".ogg", ".aiff", ".w64"}  # nothing in them comes from a listener
PART_BYTES = 1 << 22
STORE = b"SQLite format 3\x00"
TABLE = b"PAR1"  # Apache Parquet, file format, "magic number"
GZIP, BZIP, XZ = b"\x1f\x8b", b"BZh", b"\xfd7zXZ\x00"
ZIP = b"PK\x03\x04"
CLOSED = (
    b"%PDF",
    b"7z\xbc\xaf'\x1c",
    b"Rar!",
    b"\x28\xb5\x2f\xfd",
    b"\x04\x22\x4d\x18",
)  # the last: zstd, lz4
_SIGN = rb"[A-Za-z0-9_-]"


class _Readable(Protocol):
    def read(self, size: int, /) -> bytes: ...


@dataclass(frozen=True)
class Found:
    """A file that holds something of the listener, or of which nobody can say."""

    path: Path
    is_store: bool = False
    is_closed: bool = False
    """It cannot be searched: it is a PDF, or packed in a way that is not known here, or not readable."""


def holding(root: Path, words: Sequence[str]) -> Iterator[Found]:
    """Files below `root` in which, or in whose name, one of the words stands as a whole word."""
    pattern = _pattern(words)
    for path in sorted(root.rglob("*")):
        if path.suffix in SOUNDS or not path.is_file():
            continue
        if pattern.search(path.name.encode(errors="replace")):
            yield Found(path)
            continue
        try:
            with path.open("rb") as file:
                head = file.read(16)
                file.seek(0)
                if _is_in(file, head, pattern):
                    yield Found(path, is_store=head.startswith(STORE))
        except (OSError, EOFError, _Closed, zipfile.BadZipFile, lzma.LZMAError, zlib.error):
            yield Found(path, is_closed=True)


class _Closed(Exception):
    """Packed in a way that is not known here."""


def _pattern(words: Sequence[str]) -> re.Pattern[bytes]:
    """The words as UTF-8 and as UTF-16, in which spreadsheets save tables."""
    said = b"|".join(re.escape(word.encode()) for word in words)
    little = b"|".join(re.escape(word.encode("utf-16-le")) for word in words)
    big = b"|".join(re.escape(word.encode("utf-16-be")) for word in words)
    forms = (
        rb"(?<!" + _SIGN + rb")(?:" + said + rb")(?!" + _SIGN + rb")",
        rb"(?<!" + _SIGN + rb"\x00)(?:" + little + rb")(?!" + _SIGN + rb"\x00)",
        rb"(?<!\x00" + _SIGN + rb")(?:" + big + rb")(?!\x00" + _SIGN + rb")",
    )
    return re.compile(b"|".join(forms))


def _is_in(file: IO[bytes], head: bytes, pattern: re.Pattern[bytes]) -> bool:
    if head.startswith(CLOSED):
        raise _Closed
    if head.startswith(TABLE):
        return pattern.search(_table_text(file)) is not None
    if head.startswith(ZIP):
        return _is_in_zip(file, pattern)
    if head.startswith(GZIP):
        with gzip.open(file) as inner:
            return _stands_in(inner, pattern)
    if head.startswith(BZIP):
        with bz2.open(file) as inner:
            return _stands_in(inner, pattern)
    if head.startswith(XZ):
        with lzma.open(file) as inner:
            return _stands_in(inner, pattern)
    return _stands_in(file, pattern)


def _stands_in(file: _Readable, pattern: re.Pattern[bytes]) -> bool:
    """Part by part, each with the end of the one before."""
    before = b""
    while part := file.read(PART_BYTES):
        if pattern.search(before + part):
            return True
        before = part[-1000:]
    return False


def _is_in_zip(file: IO[bytes], pattern: re.Pattern[bytes]) -> bool:
    with zipfile.ZipFile(file) as packed:
        for member in packed.infolist():
            if member.flag_bits & 1:
                raise _Closed  # under a pass phrase
            with packed.open(member) as inner:
                head = inner.read(16)
            if head.startswith((*CLOSED, GZIP, BZIP, XZ, ZIP)):
                raise _Closed
            with packed.open(member) as inner:
                if pattern.search(member.filename.encode()) or _is_in(inner, head, pattern):
                    return True
    return False


def _table_text(file: IO[bytes]) -> bytes:
    import pandas as pd

    try:
        table = pd.read_parquet(io.BytesIO(file.read()))
    except (ImportError, ValueError, OSError) as error:
        raise _Closed from error
    return table.to_csv().encode()
