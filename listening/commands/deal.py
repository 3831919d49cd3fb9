"""`listening deal`: freeze the study; balanced orders, a sealed key, clips under random codes."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import amount, passphrase, progress, show
from listening.records.study import Study, open_study

if TYPE_CHECKING:
    from listening.design import balance


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, prepared")
    parser.add_argument(
        "--again",
        metavar="WHY",
        default="",
        help="deal a new version although answers exist; the old deal stays readable under versions/",
    )
    parser.add_argument(
        "--keyholder",
        action="store_true",
        help="seal the key under a pass phrase that a second person types now and at the analysis",
    )
    passphrase.option(parser)
    parser.add_argument(
        "--open-seed",
        type=int,
        metavar="N",
        help="for demonstrations: orders and codes that anybody can make again; the plan and the page say so",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Deal and print what was balanced."""
    study = open_study(args.folder, to_deal=True)
    from listening.steps import study_deal  # slow to load: a slip in the folder is told before

    keyholder = passphrase.asker(args, new=True) if args.keyholder else None
    if keyholder is not None:
        keyholder()  # asked before the bar is drawn
    with progress.bar("coding clips") as on_progress:
        plan, lines = study_deal.deal(
            study, again=args.again, open_seed=args.open_seed, keyholder=keyholder, on_progress=on_progress
        )
    n_trials = len(plan.slots[0].trials)
    spare = f" and {len(plan.slots) - plan.planned} spare" if len(plan.slots) > plan.planned else ""
    version = f", version {plan.study_version}" if plan.study_version > 1 else ""
    text = [
        f"dealt {plan.planned}{spare} sittings of {n_trials} trials, {len(plan.clips)} coded clips",
        f"study hash {plan.study_digest}{version}",
        *_balance(lines),
        *_where(study),
    ]
    counted = [vars(line) for line in lines]
    told = {"study_digest": plan.study_digest, "version": plan.study_version, "slots": len(plan.slots)}
    show.result(args, text, {**told, "balance": counted})
    return 0


def _where(study: Study) -> list[str]:
    """Where the key lies, and how to seat listeners without it."""
    seat = (
        f"seat listeners elsewhere with: listening station {study.root} OUT; or here: "
        f"listening sit {study.root}"
    )
    if study.sealed_key.is_file():
        return [
            f"the key is sealed in {study.sealed_key}; without the pass phrase nobody can analyse this study",
            "clips can still be compared with the stimuli by their sound: keep that folder from the station",
            seat,
        ]
    return [f"the key lies open: keep {study.sealed} away from the station, or deal with --keyholder", seat]


def _balance(lines: "list[balance.Line]") -> list[str]:
    """How many counts are exact; each of them with -v."""
    if amount.is_everything():
        return [f"  {'exact ' if line.exact else 'nearly'} {line.what}: {_range(line)}" for line in lines]
    exact = sum(line.exact for line in lines)
    return [f"balanced: {exact} of {len(lines)} counts exactly, the others nearly (each of them: -v)"]


def _range(line: "balance.Line") -> str:
    return f"{line.smallest}" if line.smallest == line.largest else f"{line.smallest} to {line.largest}"
