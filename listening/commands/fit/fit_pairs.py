"""`listening fit pairs`: strengths of items, or slopes of what differs, from paired comparisons."""

import argparse

from listening.commands.fit import answers_csv
from listening.console import show
from stats.tables import pair_options
from stats.tables.pair_options import OPTIONAL, PairOptions


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "table",
        metavar="TABLE.csv",
        help="columns first, second, answer (first, second or tie); optional listener, count, covariates",
    )
    parser.add_argument("--ties", choices=["davidson", "rao-kupper"], help="model of the answer 'tie'")
    parser.add_argument("--order", action="store_true", help="estimate the advantage of the first interval")
    parser.add_argument("--link", choices=["logit", "probit"], default="logit", help="default %(default)s")
    parser.add_argument("--reference", metavar="ITEM", help="item at zero (default: first in sorted order)")
    parser.add_argument(
        "--covariates", metavar="A,B", help="difference columns that replace the free strengths of the items"
    )
    parser.add_argument("--slopes", metavar="A,B", help="columns whose effect varies over listeners")
    parser.add_argument("--correlated", action="store_true", help="let those effects be correlated")
    parser.add_argument(
        "--penalised", action="store_true", help="finite estimates even if an item never lost (no ties)"
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    options = PairOptions(
        ties=args.ties,
        order=args.order,
        link=args.link,
        reference=args.reference,
        covariates=pair_options.listed(args.covariates),
        slopes=pair_options.listed(args.slopes),
        correlated=args.correlated,
        penalised=args.penalised,
    )
    pair_options.checked(options)
    table = answers_csv.read(args.table, options.columns, optional=OPTIONAL)
    from stats.tables import pair_fit  # slow to load: a slip in the words or the file is told before

    show.fitted(args, pair_fit.fit(table, options))
    return 0
