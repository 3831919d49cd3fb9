"""`listening fit`: a model for a table collected elsewhere; the second word says which answers."""

import argparse
import importlib

from listening.console import amount

KINDS = {
    "pairs": "paired comparisons: which of two, with or without ties",
    "ratings": "ratings on a scale, in categories, or yes and no",
    "counts": "correct answers in a discrimination task",
    "verdict": "one pair of sounds: what direct comparisons decide, in tables of answers",
}


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare a sub-word for each kind of answers."""
    kinds = parser.add_subparsers(dest="answers", required=True, metavar="|".join(KINDS))
    for kind, line in KINDS.items():
        module = importlib.import_module(f"listening.commands.fit.fit_{kind}")
        sub = kinds.add_parser(kind, help=line, description=line)
        module.arguments(sub)
        amount.options(sub)


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    module = importlib.import_module(f"listening.commands.fit.fit_{args.answers}")
    return int(module.run(args))
