"""`listening fit ratings`: ratings or yes-no answers explained by factors and numbers."""

import argparse
import json
import math
from typing import Any

from listening.commands.fit import fit_ratings_models
from listening.commands.fit.fit_ratings_models import RatingsFit

DECIMALS = 4


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("table", metavar="TABLE.csv", help="one answer a row, with a heading")
    parser.add_argument("--answer", required=True, metavar="COLUMN", help="ratings, or two-way answers")
    parser.add_argument(
        "--fixed",
        required=True,
        metavar="A,B",
        help="effects: text columns are factors, a trailing ':' makes a number column one; 1 for none",
    )
    parser.add_argument(
        "--random", default="", metavar="A,B", help="columns over whose levels the intercept varies"
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
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    fitted = fit_ratings_models.fit(args)
    print(json.dumps(_as_json(fitted), indent=2) if args.json else _as_text(fitted))
    return 0


def _nodes(text: str) -> int:
    nodes = int(text)
    if nodes < 1:
        raise argparse.ArgumentTypeError(f"{nodes} nodes, wanted 1 or more")
    return nodes


def _as_json(fitted: RatingsFit) -> dict[str, Any]:
    return {
        "model": fitted.model,
        "n": fitted.n,
        "reference": None,
        "estimates": {name: _entry(fitted, j) for j, name in enumerate(fitted.names)},
        "spread": fitted.spread,
        "loglik": fitted.loglik,
        "warnings": fitted.warnings,
    }


def _entry(fitted: RatingsFit, j: int) -> dict[str, float | None]:
    entry: dict[str, float | None] = {"estimate": float(fitted.estimate[j]), "se": float(fitted.se[j])}
    if fitted.tests is not None:
        df = float(fitted.tests.df[j])
        entry |= {"df": df if math.isfinite(df) else None, "p": float(fitted.tests.p[j])}
    return entry


def _as_text(fitted: RatingsFit) -> str:
    width = max(len(name) for name in [*fitted.names, *fitted.spread, "log-likelihood"])
    heading = f"{'':<{width}}  {'estimate':>10}  {'se':>10}"
    if fitted.tests is not None:
        heading += f"  {'df':>8}  {'p':>8}"
    lines = [f"{fitted.model}, {fitted.n} answers", heading]
    for j, name in enumerate(fitted.names):
        line = f"{name:<{width}}  {fitted.estimate[j]:>10.{DECIMALS}f}  {fitted.se[j]:>10.{DECIMALS}f}"
        if fitted.tests is not None:
            line += f"  {fitted.tests.df[j]:>8.1f}  {fitted.tests.p[j]:>8.2g}"
        lines.append(line)
    if fitted.spread:
        lines.append("standard deviations")
        lines += [f"{name:<{width}}  {value:>10.{DECIMALS}f}" for name, value in fitted.spread.items()]
    lines.append(f"{'log-likelihood':<{width}}  {fitted.loglik:>10.{DECIMALS}f}")
    return "\n".join([*lines, *(f"warning: {warning}" for warning in fitted.warnings)])
