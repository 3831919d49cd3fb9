"""`listening fit counts`: what a count of correct answers in a discrimination task says."""

import argparse

from listening.console import notices, show


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "--task", required=True, metavar="TASK", help="triangle, duo-trio, 2-afc, 3-afc ... 100-afc or tetrad"
    )
    parser.add_argument("--correct", required=True, type=int, metavar="K", help="correct answers")
    parser.add_argument("--trials", required=True, type=int, metavar="N", help="answers in all")
    parser.add_argument(
        "--level",
        dest="coverage",
        type=float,
        action=notices.EarlierOption,
        const="--coverage",
        default=argparse.SUPPRESS,
        help=argparse.SUPPRESS,
    )
    parser.add_argument(
        "--coverage", type=float, default=0.95, help="of the confidence intervals (default %(default)s)"
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    from stats.tables.count_fit import fit_counts

    show.fitted(args, fit_counts(args.task, args.correct, args.trials, level=args.coverage))
    return 0
