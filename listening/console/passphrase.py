"""The pass phrase of a sealed key, asked for without showing it, or read from an open file descriptor."""

import argparse
import getpass
import os
import sys
from collections.abc import Callable
from dataclasses import replace

from listening.errors import ListeningError
from listening.records.study import Study

LONGEST_BYTES = 4096


def option(parser: argparse.ArgumentParser) -> None:
    """Declare how a script gives the phrase: neither on the command line nor in the environment."""
    parser.add_argument(
        "--passphrase-fd",
        type=int,
        metavar="N",
        help="read the pass phrase of a sealed key from file descriptor N, one line (scripts: 3< FILE)",
    )


def of(study: Study, args: argparse.Namespace) -> Study:
    """The study, able to ask for the phrase once when it is needed."""
    return replace(study, passphrase=asker(args))


def asker(args: argparse.Namespace, *, new: bool = False) -> Callable[[], str]:
    """What asks; a new phrase is asked for twice. The answer is kept for the rest of the step."""
    known: list[str] = []

    def ask() -> str:
        if not known:
            descriptor = getattr(args, "passphrase_fd", None)
            known.append(_asked(new=new) if descriptor is None else _read(descriptor))
        return known[0]

    return ask


def _read(descriptor: int) -> str:
    try:
        line = os.read(descriptor, LONGEST_BYTES).decode().split("\n")[0]
    except (OSError, UnicodeDecodeError) as error:
        raise ListeningError(
            f"--passphrase-fd {descriptor}: cannot be read as text ({error}); open it first, as in: 3< FILE"
        ) from error
    if not line:
        raise ListeningError(f"--passphrase-fd {descriptor}: no line there; wanted the pass phrase")
    return line


def _asked(*, new: bool) -> str:
    if not sys.stdin.isatty():
        raise ListeningError(
            "the key is sealed under a pass phrase, and there is no terminal to ask in; "
            "give it with --passphrase-fd N"
        )
    phrase = getpass.getpass("Pass phrase of the key: ")
    if new and getpass.getpass("The same once more: ") != phrase:
        raise ListeningError("the two pass phrases differ; nothing was dealt")
    return phrase
