"""`listening compare`: strikes of one thing against strikes of another, with limits over strikes."""

import argparse
from pathlib import Path

from listening.commands import sound_files
from listening.console import show
from listening.errors import SoundError
from listening.records.found.comparison import Comparison
from listening.steps import comparison_lines


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
    loaded = sound_files.load(args, [*args.a, *args.b, *background])
    sounds, room = loaded.sounds[: len(args.a) + len(args.b)], loaded.sounds[len(args.a) + len(args.b) :]
    a, b = sounds[: len(args.a)], sounds[len(args.a) :]
    made = compared.of(a, b, names=names, above_db=args.above, background=room[0] if room else None)
    found = Comparison.model_validate(made.as_dict())
    if args.picture:
        from listening.commands import picture

        picture.draw([a[0], b[0]], names, args.picture)
    lines = [*loaded.notes, *comparison_lines.lines(found)]
    if args.picture:
        lines.append(f"picture: {args.picture}")
    show.result(args, lines, {**found.model_dump(mode="json"), "notes": loaded.notes})
    return 0


def _names(given: str | None) -> tuple[str, str]:
    names = [n.strip() for n in given.split(",")] if given else ["a", "b"]
    if len(names) != 2 or not all(names) or names[0] == names[1]:
        raise SoundError(
            f"--names {given}: wanted two different names with a comma between, as free,handlebar"
        )
    return names[0], names[1]
