"""`listening copy`: copy all answers between a file and a server, either way, and prove it."""

import argparse

from listening.console import progress, show, workplaces


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    either = "study folder, answers file, or postgresql://HOST/DATABASE"
    parser.add_argument("source", help=f"{either}: what is copied")
    parser.add_argument("target", help=f"{either}: an empty one; it is filled whole or not at all")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Copy and say how much."""
    from listening.store import copying

    with progress.bar("rows") as on_progress:
        counts = copying.copy(
            workplaces.place(args.source), workplaces.place(args.target), on_progress=on_progress
        )
    said = ", ".join(f"{counts[name]} {name}s" for name in ("sitting", "answer", "event"))
    show.result(args, [f"{said} copied, and equal on both sides"], counts)
    return 0
