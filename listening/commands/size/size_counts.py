"""`listening size --task`: how many answers a discrimination task needs, exact."""

import argparse

from listening.console import notices, show


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options of a discrimination task."""
    counts = parser.add_argument_group("discrimination tasks (exact, nothing is simulated)")
    counts.add_argument("--task", metavar="TASK", help="triangle, duo-trio, tetrad, 2-afc, 3-afc ...")
    counts.add_argument("--d-prime", type=float, metavar="D", help="how large the difference is, as d'")
    counts.add_argument(
        "--share-not-guessed", type=float, metavar="S", help="or as the share of answers not guessed"
    )
    counts.add_argument(
        "--share-heard",
        dest="share_not_guessed",
        type=float,
        action=notices.EarlierOption,
        const="--share-not-guessed",
        default=argparse.SUPPRESS,
        help=argparse.SUPPRESS,
    )
    counts.add_argument("--alpha", type=float, default=0.05, help="one-sided error rate (default 0.05)")


def run(args: argparse.Namespace) -> int:
    """Print how many answers are needed."""
    from listening.planning import discrimination_size

    found = discrimination_size.size(
        args.task,
        d_prime=args.d_prime,
        share_not_guessed=args.share_not_guessed,
        alpha=args.alpha,
        power=args.target,
    )
    lines = [
        f"{found.task}: {100 * found.share_correct:.1f} right answers in 100 if the difference is so large",
        f"plan {found.n_from} answers, one a listener; {found.min_correct} right ones show the difference",
        f"chance to show it: {found.power:.3f} (exact; {found.n_first} answers reach {args.target:g} too, "
        "but a few more may fall short again)",
    ]
    show.result(args, lines, vars(found))
    return 0
