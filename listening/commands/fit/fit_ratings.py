"""`listening fit ratings`: ratings or yes-no answers explained by factors and numbers."""

import argparse

from listening.commands.fit import answers_csv
from listening.console import show
from stats.tables import rating_options


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("table", metavar="TABLE.csv", help="one answer a row, with a heading")
    parser.add_argument("--answer", required=True, metavar="COLUMN", help="ratings, or binary answers")
    parser.add_argument(
        "--fixed",
        required=True,
        action="append",
        metavar="A,B",
        help="effects, with commas or by naming --fixed again: text columns are factors, a trailing ':' "
        "makes a number column one, A:B is their interaction; 1 for none",
    )
    parser.add_argument(
        "--random",
        default=[],
        action="append",
        metavar="A,B",
        help="columns over whose levels the intercept varies, with commas or by naming --random again",
    )
    parser.add_argument(
        "--scale",
        choices=("interval", "ordinal", "binary"),
        default="interval",
        help="numbers, ordered categories, or two answers, the second in sorted order the success "
        "(default %(default)s)",
    )
    parser.add_argument(
        "--link", choices=("logit", "probit", "cloglog"), help="of ordinal and binary (default logit)"
    )
    parser.add_argument(
        "--nodes", type=_nodes, default=1, metavar="N", help="points of the integral over one random column"
    )
    parser.add_argument("--ml", action="store_true", help="interval: plain, not restricted, likelihood")
    parser.add_argument(
        "--df",
        choices=("satterthwaite", "kenward-roger"),
        help="interval with --random: degrees of freedom (default satterthwaite); kenward-roger corrects the "
        "standard errors too",
    )
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    asked = rating_options.checked(
        args.answer,
        ",".join(args.fixed),
        ",".join(args.random),
        scale=args.scale,
        link=args.link,
        nodes=args.nodes,
        reml=False if args.ml else None,
        df=args.df,
    )
    table = answers_csv.read(args.table, asked.columns)
    from stats.tables import rating_scales  # slow to load: a slip in the words or the file is told before

    show.fitted(args, rating_scales.fit(table, asked))
    return 0


def _nodes(text: str) -> int:
    nodes = int(text)
    if nodes < 1:
        raise argparse.ArgumentTypeError(f"{nodes} nodes, wanted 1 or more")
    return nodes
