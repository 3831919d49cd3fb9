"""`listening withdraw`: remove all of a listener's answers, beyond recovery."""

import argparse
from pathlib import Path

from listening.console import show
from listening.errors import ListeningError
from listening.records.study import Study

ALWAYS = (
    "backups, file-system snapshots, a server's write-ahead archives and replicas, tables exported to "
    "another folder and unsent messages of other booths (listening booths FOLDER --send there) are yours to "
    "clean"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder")
    parser.add_argument("listener", help="the listener's code")
    parser.add_argument("--yes", action="store_true", help="do it; without this nothing is removed")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Remove, name what is out of date, and end with 1 while something of the listener is left."""
    study = Study(args.folder)
    if not args.yes:
        raise ListeningError(
            f"this removes every answer of {args.listener} and cannot be undone; add --yes to do it"
        )
    from listening.steps import study_withdrawal

    done = study_withdrawal.withdraw(study, args.listener)
    lines = [
        f"{args.listener}: {len(done.sittings)} sittings removed; the store notes that a removal happened, "
        "not whose",
        *(f"removed: {path}" for path in done.removed),
        *(f"out of date now: {path}" for path in done.stale),
    ]
    if done.stale:
        lines.append(
            f"run again: listening analyse {study.root}, listening report {study.root}, listening export "
            f"{study.root}"
        )
    lines += [f"STILL LEFT: {left}" for left in done.left]
    if done.left:
        lines.append(f"then once more: listening withdraw {study.root} {args.listener} --yes")
    told = {
        "sittings": len(done.sittings),
        "removed": [str(path) for path in done.removed],
        "stale": [str(path) for path in done.stale],
        "left": done.left,
    }
    show.result(args, [*lines, ALWAYS], told)
    return 1 if done.left else 0
