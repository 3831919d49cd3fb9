"""`listening schema`: every key of a protocol, for editors (JSON Schema) or for people (a page)."""

import argparse
from pathlib import Path

from listening.records.forms import reference
from listening.records.forms.form import write_over

OWN_CHARACTERS = 30  # the same in every version


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("--page", action="store_true", help="the reference page in Markdown, not JSON Schema")
    parser.add_argument("--out", type=Path, metavar="FILE", help="write it there instead of printing it")


def run(args: argparse.Namespace) -> int:
    """Print or write the schema or the page."""
    text = reference.page() if args.page else reference.schema_text()
    if args.out is None:
        print(text, end="")
    else:
        write_over(args.out, text, own=text[:OWN_CHARACTERS])
        print(f"written: {args.out}")
    return 0
