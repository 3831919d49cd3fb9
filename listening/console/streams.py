"""What a command prints holds nothing that a terminal would obey, and every character can be printed."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO, cast

from listening.records.forms.text import plain


class PlainStream:
    """A text stream that spells out control characters; everything else is the stream's own."""

    def __init__(self, stream: TextIO) -> None:
        self.beneath = stream

    def write(self, text: str) -> int:
        """Write the text, plain."""
        self.beneath.write(plain(text))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write each of them."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.beneath, name)


@contextmanager
def plain_output() -> Iterator[None]:
    """Standard output and standard error are plain while the block runs."""
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _plain(sys.stdout), _plain(sys.stderr)
    try:
        yield
    finally:
        sys.stdout, sys.stderr = before


@contextmanager
def silent(*, when: bool) -> Iterator[None]:
    """Standard output goes nowhere while the block runs, if `when`; standard error stays."""
    if not when:
        yield
        return
    before = sys.stdout
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        sys.stdout = nowhere
        try:
            yield
        finally:
            sys.stdout = before


def to_nowhere() -> None:
    """Standard output leads nowhere from now on, so that nothing fails once more when the program ends."""
    with suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def drawing(stream: TextIO) -> TextIO:
    """The stream beneath, for what draws (bars, live tables) and makes its texts plain itself."""
    return cast(TextIO, getattr(stream, "beneath", stream))


def _plain(stream: TextIO) -> TextIO:
    if stream is None or isinstance(stream, PlainStream):
        return stream
    with suppress(AttributeError, ValueError, OSError):
        stream.reconfigure(errors="backslashreplace")  # type: ignore[attr-defined]  # a terminal's own stream
    return cast(TextIO, PlainStream(stream))
