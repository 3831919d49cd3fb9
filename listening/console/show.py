"""Print a result: lines for people, or one JSON document with --json."""

import argparse
import json
from collections.abc import Iterable
from typing import Any, Protocol


def json_option(parser: argparse.ArgumentParser) -> None:
    """Add --json to a command."""
    parser.add_argument("--json", action="store_true", help="print one JSON document instead of text")


def result(args: argparse.Namespace, lines: Iterable[str], data: Any) -> None:
    """Print `data` as JSON when --json was given, else the lines."""
    if args.json:
        print(json.dumps(data, indent=1, ensure_ascii=False))
    else:
        print("\n".join(lines))


class Fitted(Protocol):
    """The result of a fit."""

    def summary(self) -> str: ...
    def to_dict(self) -> dict[str, Any]: ...


def fitted(args: argparse.Namespace, found: Fitted) -> None:
    """Print the result of a fit as JSON when --json was given, else as text."""
    print(json.dumps(found.to_dict(), indent=2) if args.json else found.summary())
