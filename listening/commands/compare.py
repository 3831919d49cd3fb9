"""`listening compare`: strikes of one thing against strikes of another, with limits over strikes."""

import argparse
from pathlib import Path

from listening.commands import sound_files
from listening.console import show
from listening.errors import SoundError
from listening.records.found.comparison import Comparison
from listening.steps import comparison_lines, differences_elsewhere


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "a", type=Path, nargs="+", metavar="A", help="strikes of the first, such as hung free"
    )
    parser.add_argument(
        "--with", dest="b", type=Path, nargs="+", required=True, metavar="B", help="strikes of the second"
    )
    parser.add_argument("--names", metavar="A,B", help="what the two are called (default a,b)")
    parser.add_argument(
        "--picture", type=Path, metavar="FILE", help="also draw the first strike of each side (.svg or .png)"
    )
    parser.add_argument(
        "--above", type=float, metavar="DB", help="time above this level is compared (default 20 dB below A)"
    )
    parser.add_argument(
        "--elsewhere",
        type=Path,
        nargs="+",
        metavar="A",
        help="strikes of the first elsewhere, as on a handlebar: does the difference stay?",
    )
    parser.add_argument(
        "--elsewhere-with", type=Path, nargs="+", metavar="B", help="strikes of the second there"
    )
    parser.add_argument(
        "--background",
        type=Path,
        metavar="SOUND",
        help="the room alone at the same gain; its energy is taken off",
    )
    sound_files.options(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Compare and print: tables and words, or one JSON document."""
    from listening.metrics.comparison import compared

    names = _names(args.names)
    background = [args.background] if args.background else []
    parts = [args.a, args.b, *_elsewhere(args), background]
    loaded = sound_files.load(args, [file for part in parts for file in part])
    rest = iter(loaded.sounds)
    a, b, *others = [[next(rest) for _ in part] for part in parts]
    room = others.pop()
    alone = room[0] if room else None
    made = compared.of(a, b, names=names, above_db=args.above, background=alone)
    found = Comparison.model_validate(made.as_dict())
    if others:
        there = compared.of(*others, above_db=args.above, background=alone)
        found = differences_elsewhere.added(found, made.rows, there.rows)
    if args.picture:
        from listening.commands import picture

        picture.draw([a[0], b[0]], names, args.picture)
    lines = [*loaded.notes, *comparison_lines.lines(found)]
    if args.picture:
        lines.append(f"picture: {args.picture}")
    show.result(args, lines, {**found.model_dump(mode="json"), "notes": loaded.notes})
    return 0


def _elsewhere(args: argparse.Namespace) -> list[list[Path]]:
    """Strikes of both elsewhere; nothing where nobody asked."""
    if args.elsewhere is None and args.elsewhere_with is None:
        return []
    if args.elsewhere is None or args.elsewhere_with is None:
        raise SoundError("--elsewhere and --elsewhere-with: one without the other; strikes of both wanted")
    return [args.elsewhere, args.elsewhere_with]


def _names(given: str | None) -> tuple[str, str]:
    names = [n.strip() for n in given.split(",")] if given else ["a", "b"]
    if len(names) != 2 or not all(names) or names[0] == names[1]:
        raise SoundError(
            f"--names {given}: wanted two different names with a comma between, as free,handlebar"
        )
    return names[0], names[1]
