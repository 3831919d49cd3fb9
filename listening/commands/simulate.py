"""`listening simulate`: let simulated listeners sit the test, through the real session and store."""

import argparse
from pathlib import Path

from listening.console import passphrase, progress, show
from listening.errors import ListeningError
from listening.records.study import open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, dealt")
    parser.add_argument(
        "--listeners", type=int, metavar="N", help="how many sit (default: as many as planned)"
    )
    parser.add_argument("--seed", type=int, default=1, help="same seed, same answers (default 1)")
    parser.add_argument(
        "--missing-last",
        type=int,
        default=0,
        metavar="N",
        help="so many of them, the last ones, miss the last of several sessions (default 0)",
    )
    parser.add_argument(
        "--stage", type=int, default=1, metavar="N", help="whose slots they sit (default 1, the deal itself)"
    )
    parser.add_argument(
        "--first", type=int, default=0, metavar="N", help="at which place of the stage they begin (default 0)"
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Run the panel and say what was stored."""
    if args.listeners is not None and args.listeners < 1:
        raise ListeningError(f"--listeners: found {args.listeners}, wanted 1 or more")
    if args.missing_last < 0:
        raise ListeningError(f"--missing-last: found {args.missing_last}, wanted 0 or more")
    if args.first < 0:
        raise ListeningError(f"--first: found {args.first}, wanted 0 or more")
    study = passphrase.of(open_study(args.folder), args)
    from listening.simulate import run as simulate  # slow to load: a slip in the folder is told before
    from listening.store import place_of

    with progress.bar("simulated listeners") as on_progress:
        n_answers = simulate.run(
            study,
            n_listeners=args.listeners,
            seed=args.seed,
            missing_last=args.missing_last,
            stage=args.stage,
            first=args.first,
            on_progress=on_progress,
        )
    lines = [
        f"{n_answers} answers of simulated listeners, marked so, in {place_of(study)}",
        f"next: listening analyse {study.root}",
    ]
    show.result(args, lines, {"answers": n_answers, "seed": args.seed, "simulated": True})
    return 0
