"""`listening fit counts`: what a count of correct answers in a discrimination task says."""

import argparse
import json
import math
from typing import Any

from stats.discrimination import forced_choice
from stats.discrimination.forced_choice import Discrimination, Interval

DECIMALS = 4


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "--task", required=True, metavar="TASK", help="triangle, duo-trio, 2-afc, 3-afc ... 100-afc or tetrad"
    )
    parser.add_argument("--correct", required=True, type=int, metavar="K", help="correct answers")
    parser.add_argument("--trials", required=True, type=int, metavar="N", help="answers in all")
    parser.add_argument("--level", type=float, default=0.95, help="of the intervals (default %(default)s)")
    parser.add_argument("--json", action="store_true", help="print the result as JSON")


def run(args: argparse.Namespace) -> int:
    """Fit and print; 0 when done."""
    fitted = forced_choice.fit(args.task, args.correct, args.trials, level=args.level)
    print(json.dumps(_as_json(fitted), indent=2) if args.json else _as_text(fitted))
    return 0


def _as_json(fitted: Discrimination) -> dict[str, Any]:
    return {
        "model": f"discrimination: {fitted.task}",
        "n": fitted.n_trials,
        "reference": None,
        "estimates": {name: _entry(*numbers) for name, numbers in _estimates(fitted).items()},
        "spread": {},
        "loglik": fitted.loglik,
        "p_difference": fitted.p_difference,
        "level": fitted.level,
        "warnings": _warnings(fitted),
    }


def _estimates(fitted: Discrimination) -> dict[str, tuple[float, float | None, Interval]]:
    return {
        "d_prime": (fitted.d_prime, fitted.d_prime_se, fitted.d_prime_interval),
        "share_correct": (fitted.share_correct, fitted.share_correct_se, fitted.share_correct_interval),
        "share_discriminating": (
            fitted.share_discriminating,
            fitted.share_discriminating_se,
            fitted.share_discriminating_interval,
        ),
    }


def _entry(estimate: float, se: float | None, interval: Interval) -> dict[str, float | None]:
    return {
        "estimate": _finite(estimate),
        "se": se,
        "lower": _finite(interval.lower),
        "upper": _finite(interval.upper),
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None  # JSON knows no infinity


def _warnings(fitted: Discrimination) -> list[str]:
    found = fitted.n_correct / fitted.n_trials
    if found < fitted.guess:
        return [
            f"{fitted.n_correct} of {fitted.n_trials} correct, below guessing ({fitted.guess:.{DECIMALS}f}): "
            "the estimates stand at their limit and have no standard error"
        ]
    if found == fitted.guess:
        return ["exactly the guessing rate: d' stands at its limit 0 and has no standard error"]
    if fitted.n_correct == fitted.n_trials:
        return ["all correct: d' has no upper limit (null) and no standard error; use the lower limit"]
    return []


def _as_text(fitted: Discrimination) -> str:
    percent = f"{100 * fitted.level:g} %"
    lines = [
        f"{fitted.task}: {fitted.n_correct} of {fitted.n_trials} correct",
        f"{'':<22}{'estimate':>10}{'std. error':>12}   {percent} likelihood interval",
    ]
    for name, (estimate, se, interval) in _estimates(fitted).items():
        se_text = "none" if se is None else f"{se:.{DECIMALS}f}"
        lines.append(
            f"{name:<22}{estimate:>10.{DECIMALS}f}{se_text:>12}   "
            f"{interval.lower:.{DECIMALS}f} to {interval.upper:.{DECIMALS}f}"
        )
    lines.append(f"exact one-sided test against guessing: p = {fitted.p_difference:.{DECIMALS}g}")
    return "\n".join([*lines, *(f"warning: {warning}" for warning in _warnings(fitted))])
