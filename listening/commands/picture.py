"""`listening picture`: look at sounds before any panel does."""

import argparse
from collections.abc import Sequence
from pathlib import Path

from listening.audio.sound import Sound
from listening.commands import sound_files
from listening.console import show
from listening.errors import SoundError

KINDS = (".svg", ".png")


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "sounds", type=Path, nargs="+", metavar="SOUND", help="one sound, or several side by side"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="FILE",
        help="where to: .svg or .png (default beside you, named after the first)",
    )
    parser.add_argument(
        "--names", metavar="A,B,…", help="what the sounds are called (default their files' names)"
    )
    sound_files.options(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Draw the picture and say where it is."""
    out = args.out or Path(f"{args.sounds[0].stem}.svg")
    loaded = sound_files.load(args, args.sounds)
    names = [n.strip() for n in args.names.split(",")] if args.names else [p.stem for p in args.sounds]
    if len(names) != len(loaded.sounds):
        raise SoundError(f"--names: {len(names)} names for {len(loaded.sounds)} sounds; wanted one each")
    draw(loaded.sounds, names, out)
    lines = [*loaded.notes, f"picture of {len(names)} sound{'s' if len(names) > 1 else ''}: {out}"]
    show.result(args, lines, {"picture": str(out), "sounds": names, "notes": loaded.notes})
    return 0


def draw(sounds: Sequence[Sound], names: Sequence[str], out: Path) -> None:
    """Write the picture of one-channel sounds of one rate.

    Raises
    ------
    SoundError
        Neither .svg nor .png, more sounds than fit, a silent sound, calibrated mixed with uncalibrated.
    CannotWrite
        The file cannot be written.
    """
    from listening.metrics import measures, traces
    from listening.records.forms import text
    from listening.records.forms.form import write_bytes
    from listening.report.figures.sounds import curves, drawing, picture

    if out.suffix.lower() not in KINDS:
        raise SoundError(f"{out}: ends in '{out.suffix}', wanted {' or '.join(KINDS)}")
    if len(sounds) > picture.MOST:
        raise SoundError(f"{len(sounds)} sounds, at most {picture.MOST} are readable side by side")
    if len({s.calibrated for s in sounds}) > 1:
        raise SoundError("calibrated and uncalibrated sounds have no common scale; calibrate all or none")
    made = [
        curves.of_arrays(text.plain(name), traces.of(sound, measures.examine(sound)))
        for sound, name in zip(sounds, names, strict=True)
    ]
    write_bytes(out, drawing.content(made, kind=out.suffix.lower()[1:]))
