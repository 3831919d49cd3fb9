"""`listening station`: what a listening computer needs of a dealt study, and nothing else."""

import argparse
import shutil
from pathlib import Path

from listening.console import show
from listening.errors import CannotWrite, StudyError
from listening.records.plan import Plan
from listening.records.study import Study


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
    from listening.session import clip_reading

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
    """Plan, clips and the server's address below another folder.

    Raises
    ------
    CannotWrite
        The folder cannot be written; what was begun is removed.
    """
    try:
        out.clips.parent.mkdir(parents=True, exist_ok=True)
        shutil.copytree(study.clips, out.clips, copy_function=shutil.copyfile)
        for path, there in ((study.server, out.server), (study.plan, out.plan)):  # the plan comes last
            if path.is_file():
                shutil.copyfile(path, there)
    except OSError as error:
        shutil.rmtree(out.station, ignore_errors=True)
        raise CannotWrite(
            f"{out.station}: cannot be written ({error}); free space or name another folder"
        ) from error


def _check_empty(out: Study) -> None:
    if out.root.exists() and (not out.root.is_dir() or any(out.root.iterdir())):
        raise StudyError(f"{out.root}: is not empty; name a new folder for the station")
