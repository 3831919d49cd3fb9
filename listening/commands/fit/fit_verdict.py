"""`listening fit verdict`: what direct comparisons of one pair decide, in tables collected anywhere."""

import argparse
import json
from typing import TYPE_CHECKING, Any

from listening.errors import RecordError

if TYPE_CHECKING:
    from stats.deciding.level_bound import LevelBound
    from stats.deciding.planned_pair import PairVerdict

NO_SENTENCE = "No sentence to print: nothing shows that this question was planned before the answers."


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "tables",
        nargs="+",
        metavar="TABLE.csv",
        help="columns listener, first, second, answer (first, second or tie); optional strike_first, "
        "strike_second, level_db (first minus second; more of them as level_db:NAME); rows with first = "
        "second and a level_db are control pairs",
    )
    parser.add_argument("--more", required=True, metavar="B", help="the sound that would be chosen more")
    parser.add_argument("--than", required=True, metavar="A", help="the sound it is compared with")
    parser.add_argument("--kind", required=True, choices=["more", "same"], help="what would be claimed")
    parser.add_argument(
        "--smallest",
        required=True,
        type=float,
        metavar="SHARE",
        help="smallest share of choices that matters",
    )
    parser.add_argument("--alpha", type=float, default=0.05, help="one-sided (default %(default)s)")
    parser.add_argument(
        "--limit-outside",
        type=float,
        default=0.25,
        metavar="SHARE",
        help="same: share of listeners who may hear a difference of their own (default %(default)s)",
    )
    parser.add_argument("--json", action="store_true", help="print the results as JSON, a list")


def run(args: argparse.Namespace) -> int:
    """Judge each table and print; 0 when done."""
    _check(args)
    found = [(path, _judged(path, args)) for path in args.tables]
    if args.json:
        print(json.dumps([_as_json(path, args, one) for path, one in found], indent=2, allow_nan=False))
    else:
        print("\n\n".join(_as_text(path, args, one) for path, one in found))
        print(f"\n{NO_SENTENCE}")
    return 0


def _judged(path: str, args: argparse.Namespace) -> "PairVerdict":
    from listening.commands.fit import fit_verdict_rows  # slow to load: a slip in the words is told before
    from stats.deciding import planned_pair

    table = fit_verdict_rows.read(path, args.more, args.than)
    return planned_pair.judge(
        table,
        args.more,
        args.than,
        kind=args.kind,
        smallest=args.smallest,
        alpha=args.alpha,
        limit_outside=args.limit_outside,
    )


def _check(args: argparse.Namespace) -> None:
    if args.more == args.than:
        raise RecordError(f"--more and --than both name {args.more!r}; wanted two different sounds")
    lowest = "from 0.5" if args.kind == "more" else "above 0.5"
    if not 0.5 <= args.smallest < 1 or (args.kind == "same" and args.smallest == 0.5):
        raise RecordError(f"--smallest {args.smallest:g}: wanted a share of choices {lowest}, below 1")
    if not 0 < args.alpha < 0.5:
        raise RecordError(f"--alpha {args.alpha:g}: wanted above 0, below 0.5")
    if not 0 < args.limit_outside <= 1:
        raise RecordError(f"--limit-outside {args.limit_outside:g}: wanted above 0, up to 1")


def _as_json(path: str, args: argparse.Namespace, one: "PairVerdict") -> dict[str, Any]:
    decided, chain = one.decided, one.transitivity
    return {
        "table": path,
        "more": args.more,
        "than": args.than,
        "kind": args.kind,
        "smallest": args.smallest,
        "word": one.word,
        "share": one.share,
        "lower": one.lower,
        "upper": one.upper,
        "alpha": one.alpha,
        "listeners": one.listeners,
        "df": one.df,
        "direct": {"chosen": _whole(one.chosen), "of": one.of},
        "reason": one.reason,
        "p": decided.p if decided else None,
        "strikes": list(decided.found.strikes) if decided else None,
        "order": decided.found.order if decided else None,
        "outside_upper": decided.outside_upper if decided else None,
        "outside_limit": decided.outside_limit if decided else None,
        "level": [_level_as_json(bound) for bound in decided.level] if decided else [],
        "transitivity_p": chain.p if chain else None,
        "described": [
            {
                "first": pair.first,
                "second": pair.second,
                "chosen": _whole(pair.chosen),
                "of": pair.of,
                "listeners": pair.listeners,
            }
            for pair in one.others
        ],
        "method": decided.found.method if decided else None,
        "warnings": list(one.warnings),
    }


def _level_as_json(bound: "LevelBound") -> dict[str, Any]:
    return {
        "metric": bound.metric,
        "residual_db": bound.residual_db,
        "largest_residual_db": bound.largest_db,
        "gains": [
            {"gain_db": g.gain_db, "share_louder": g.share, "listeners": g.listeners} for g in bound.gains
        ],
        "share_less_level": min((f.share for f in bound.lowered), default=None),
        "lower_less_level": min((f.lower for f in bound.lowered), default=None),
        "upper_with_level": max((f.upper for f in bound.raised), default=None),
    }


def _as_text(path: str, args: argparse.Namespace, one: "PairVerdict") -> str:
    asked = (
        f"{args.more} more than {args.than}"
        if args.kind == "more"
        else f"{args.more} the same as {args.than}"
    )
    lines = [f"{path}: {asked}: {one.word}", f"  {one.reason}"]
    if one.share is not None:
        lines.append(
            f"  chosen in {one.share:.1%} of direct comparisons, limits {one.lower:.1%} and {one.upper:.1%} "
            f"(one-sided, alpha {one.alpha:g})"
        )
    df = f", df {one.df:.1f}" if one.df is not None else ""
    lines.append(f"  {one.listeners} listeners, {one.chosen:g} of {one.of} answers{df}")
    if one.decided and one.decided.outside_upper is not None:
        lines.append(
            f"  listeners who may hear a difference of their own: up to {one.decided.outside_upper:.1%}, "
            f"{args.limit_outside:.1%} allowed"
        )
    lines += [_level_as_text(bound) for bound in (one.decided.level if one.decided else ())]
    if one.transitivity is not None:
        lines.append(f"  direct and indirect comparisons agree: p {one.transitivity.p:.3f}")
    if one.others:
        lines.append(f"  other pairs, described only: {len(one.others)} (--json lists them)")
    return "\n".join([*lines, *(f"  warning: {text}" for text in one.warnings)])


def _level_as_text(bound: "LevelBound") -> str:
    gains = [f"{g.gain_db:.3g} dB" for g in bound.gains if g.gain_db is not None]
    by = f"bounded by control pairs of {' and '.join(gains)}" if gains else "no control gain at or above it"
    lowest = min((f.lower for f in bound.lowered), default=None)
    left = "" if lowest is None else f"; lower limit less level {lowest:.1%}"
    return f"  {bound.metric}: {bound.residual_db:+.2f} dB left, {by}{left}"


def _whole(number: float) -> int | float:
    return int(number) if float(number).is_integer() else number
