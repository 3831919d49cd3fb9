"""`listening rehearse`: a whole study by simulation, what the plan promises beside what is seen."""

import argparse
import os
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import passphrase, progress, show, workplaces
from listening.errors import StudyError
from listening.records.study import Study, open_study

if TYPE_CHECKING:
    from listening.planning.rehearsal.rehearsed import Supposed


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder; nothing in it is touched")
    parser.add_argument("--runs", type=int, default=200, help="simulated studies a state (default 200)")
    parser.add_argument("--seed", type=int, default=1, help="same seed, same numbers (default 1)")
    parser.add_argument(
        "--effect", default="share=0.75", metavar="WORDS", help="hoped for each `more` (default share=0.75)"
    )
    parser.add_argument("--drop-outs", type=float, metavar="SHARE", help="of those who begin, who stop early")
    parser.add_argument("--withdrawals", type=float, metavar="SHARE", help="of those who finished")
    parser.add_argument(
        "--misses", type=float, metavar="SHARE", help="of listeners, who miss the last of several sessions"
    )
    parser.add_argument(
        "--at-random", type=float, default=0.0, metavar="SHARE", help="of listeners, who answer at random"
    )
    parser.add_argument("--sites", type=int, default=1, metavar="N", help="laboratories, in turn (default 1)")
    parser.add_argument(
        "--spread-sites", type=float, default=0.1, metavar="SD", help="of sites, logit (default 0.1)"
    )
    parser.add_argument(
        "--spread-sessions", type=float, default=0.1, metavar="SD", help="of sessions, logit (default 0.1)"
    )
    parser.add_argument("--spread-listeners", type=float, metavar="SD", help="of own effects, logit")
    parser.add_argument("--spread-stimuli", type=float, metavar="SD", help="of strikes, logit")
    parser.add_argument("--pilot", type=Path, metavar="STUDY", help="take both spreads from a pilot")
    parser.add_argument(
        "--jobs",
        type=workplaces.where,
        default=os.cpu_count() or 1,
        metavar="N",
        help="processes (default: all cores), or tcp://HOST:PORT of a Dask scheduler",
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Rehearse, and print promises beside what was seen."""
    study = open_study(args.folder)
    from listening.steps import study_rehearsal  # slow to load: a slip in the folder is told before

    supposed = _supposed(args, study)
    with progress.bar("rehearsed studies") as on_progress:
        found = study_rehearsal.rehearse(
            study, supposed, runs=args.runs, seed=args.seed, where=args.jobs, on_progress=on_progress
        )
    show.result(args, [found.summary()], found.to_dict())
    return 0


def _supposed(args: argparse.Namespace, study: Study) -> "Supposed":
    from listening.records.protocols import protocol
    from listening.steps import study_rehearsal

    chosen = protocol.load(study.protocol)
    assumed = None
    if args.pilot is not None:
        from listening.planning import pilot_reading
        from listening.store import utc_now

        pilot = passphrase.of(open_study(args.pilot), args)
        assumed = pilot_reading.assumed(pilot, chosen.questions[0], now=utc_now)
    return study_rehearsal.supposed(
        chosen,
        share=_share(args.effect),
        assumed=assumed,
        drop_outs=args.drop_outs,
        withdrawals=args.withdrawals,
        misses=args.misses,
        at_random=args.at_random,
        sites=args.sites,
        spread_sites=args.spread_sites,
        spread_sessions=args.spread_sessions,
        spread_listeners=args.spread_listeners,
        spread_stimuli=args.spread_stimuli,
    )


def _share(text: str) -> float:
    name, _, number = text.partition("=")
    try:
        value = float(number)
    except ValueError:
        value = 0.0
    if name != "share" or not 0.5 < value < 1:
        raise StudyError(
            f"--effect: found `{text}`, wanted a share above 0.5 and below 1, such as share=0.75"
        )
    return value
