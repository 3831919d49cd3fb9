"""Notices of earlier words in files and commands: each told once, in one plain line on standard error."""

import argparse
import sys
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from listening.records.protocols import earlier_words
from listening.records.protocols.earlier_words import EarlierWord


def renewed(words: list[str]) -> list[str]:
    """The words of a command line with today's name of the command; an earlier one is told."""
    now = earlier_words.COMMANDS.get(words[0]) if words else None
    if now is None:
        return words
    earlier_words.tell("listening", words[0], now)
    return [now, *words[1:]]


class EarlierOption(argparse.Action):
    """An option's earlier word: sets the same value, and is told; `const` holds today's word."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: Any,
        word: str | None = None,
    ) -> None:
        """Take the value as today's option does."""
        earlier_words.tell(parser.prog, str(word), str(self.const))
        setattr(namespace, self.dest, values)


@contextmanager
def told_once() -> Iterator[None]:
    """While the block runs, a notice of an earlier word is printed the first time that it comes."""
    told: set[str] = set()
    shown = warnings.showwarning

    def show(message: Warning | str, category: type[Warning], *place: Any, **more: Any) -> None:
        if not issubclass(category, EarlierWord):
            shown(message, category, *place, **more)
        elif str(message) not in told:
            told.add(str(message))
            print(f"listening: notice: {message}", file=sys.stderr)

    with warnings.catch_warnings():
        warnings.simplefilter("always", EarlierWord)
        warnings.showwarning = show
        yield
