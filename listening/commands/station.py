"""`listening station`: what a listening computer needs of a dealt study, and nothing else."""

import argparse
import os
import shutil
from pathlib import Path

from listening.console import show
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.study import Study
from listening.stimuli import folder


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, dealt")
    parser.add_argument("out", type=Path, metavar="OUT", help="new folder for the station, to carry over")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Copy plan, clips and the server's address; check that they arrived whole."""
    study, out = Study(args.folder), Study(args.out)
    plan = Plan.load(study.plan)
    _check_empty(out)
    copy(study, out)
    from listening.session.sounding import clip_reading

    clip_reading.check(Plan.load(out.plan), out.clips)
    files = sorted(str(path.relative_to(out.root)) for path in out.root.rglob("*") if path.is_file())
    lines = [
        f"{out.station}: the plan and {len(plan.clips)} coded clips"
        + (", and the server’s address" if out.server.is_file() else ""),
        "no key, stimulus, protocol or answer lies there; carry it to the machine that seats listeners",
        f"there:  listening sit {out.root}",
    ]
    if not out.server.is_file():
        lines.append(f"when they have sat, here:  listening copy {out.root} {study.root}")
    show.result(args, lines, {"station": str(out.station), "clips": len(plan.clips), "files": files})
    return 0


def copy(study: Study, out: Study) -> None:
    """Plan, clips and the server's address below another folder: all of it, on disk, or nothing.

    Raises
    ------
    CannotWrite
        The folder cannot be written; what was begun is removed.
    """
    with folder.replacing(out.station) as fresh:
        shutil.copytree(study.clips, fresh / out.clips.relative_to(out.station), copy_function=_copied)
        for path, there in ((study.server, out.server), (study.plan, out.plan)):
            if path.is_file():
                _copied(path, fresh / there.relative_to(out.station))


def _copied(path: str | Path, there: str | Path) -> None:
    """Bytes alone, synced: the drive may be pulled out as soon as the command has ended."""
    shutil.copyfile(path, there)
    with open(there, "rb+") as file:
        os.fsync(file.fileno())


def _check_empty(out: Study) -> None:
    """What an earlier try left half-made, hidden, is no matter."""
    half_made = f".{out.station.name}-"
    if out.root.exists() and (
        not out.root.is_dir() or any(not p.name.startswith(half_made) for p in out.root.iterdir())
    ):
        raise StudyError(f"{out.root}: is not empty; name a new folder for the station")
