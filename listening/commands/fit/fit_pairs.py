"""`listening fit pairs`: strengths of items, or slopes of what differs, from paired comparisons."""

import argparse
import json
from typing import Any

from listening.commands.fit import fit_pairs_models
from listening.commands.fit.fit_pairs_models import PairsFit

DECIMALS = 4


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
    fitted = fit_pairs_models.fit(args)
    print(json.dumps(_as_json(fitted), indent=2) if args.json else _as_text(fitted))
    return 0


def _as_json(fitted: PairsFit) -> dict[str, Any]:
    return {
        "model": fitted.model,
        "n": int(fitted.n) if float(fitted.n).is_integer() else fitted.n,
        "reference": fitted.reference,
        "estimates": fitted.estimates,
        "spread": fitted.spread,
        "loglik": fitted.loglik,
        "warnings": fitted.warnings,
        "correlation": fitted.correlation,
        "tests": fitted.tests,
        "fit": fitted.fit,
    }


def _as_text(fitted: PairsFit) -> str:
    lines = [f"{fitted.model}, {fitted.n:g} answers, log-likelihood {fitted.loglik:.{DECIMALS}f}"]
    if fitted.reference is not None:
        lines.append(f"reference (at zero): {fitted.reference}")
    width = max((len(name) for name in [*fitted.estimates, *fitted.spread]), default=4)
    heads = ["estimate", "se"] + ["se_clustered"] * any(
        "se_clustered" in e for e in fitted.estimates.values()
    )
    lines.append(" " * width + "".join(f"  {head:>12}" for head in heads))
    for name, entry in fitted.estimates.items():
        lines.append(f"{name:<{width}}" + "".join(f"  {entry[head]:>12.{DECIMALS}f}" for head in heads))
    if fitted.spread:
        lines.append("standard deviations over listeners")
        lines += [f"{name:<{width}}  {value:>12.{DECIMALS}f}" for name, value in fitted.spread.items()]
    if fitted.correlation:
        lines.append("correlations over listeners")
        lines += [f"{name}  {value:.{DECIMALS}f}" for name, value in fitted.correlation.items()]
    for name, test in fitted.tests.items():
        lines.append(f"{name}: chi-square {test['statistic']:.3f}, df {test['df']}, p {test['p']:.4g}")
    if fitted.fit:
        lines.append(
            f"fit: deviance {fitted.fit['deviance']:.3f}, df {fitted.fit['df']}, "
            f"dispersion {fitted.fit['dispersion'] or float('nan'):.2f}"
        )
    lines += [f"warning: {text}" for text in fitted.warnings]
    return "\n".join(lines)
