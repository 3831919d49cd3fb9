"""How much a command prints: errors alone (`-q`), as usual, or everything (`-v`)."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

Amount = Literal["quiet", "usual", "everything"]
WORDS: dict[str, Amount] = {
    "-q": "quiet",
    "--quiet": "quiet",
    "-v": "everything",
    "--verbose": "everything",
}
_now: ContextVar[Amount] = ContextVar("amount", default="usual")


def options(parser: argparse.ArgumentParser) -> None:
    """Show both in a command's help; `taken` reads them wherever they stand."""
    parser.add_argument("-q", "--quiet", action="store_true", help="print errors alone; no progress bar")
    parser.add_argument("-v", "--verbose", action="store_true", help="print every list in full")


@contextmanager
def taken(words: list[str]) -> Iterator[list[str]]:
    """The words without -q and -v, which hold while the block runs; the last one counts."""
    end = words.index("--") if "--" in words else len(words)
    asked = [WORDS[word] for word in words[:end] if word in WORDS]
    before = _now.set(asked[-1] if asked else _now.get())
    try:
        yield [word for word in words[:end] if word not in WORDS] + words[end:]
    finally:
        _now.reset(before)


def is_quiet() -> bool:
    """Whether errors alone are wanted."""
    return _now.get() == "quiet"


def is_everything() -> bool:
    """Whether every list is wanted in full."""
    return _now.get() == "everything"
