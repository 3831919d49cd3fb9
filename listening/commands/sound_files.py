"""Sound files on the command line: calibration, one channel of each, one rate for all."""

import argparse
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import calibration, channels

MEAN = "mean"


@dataclass(frozen=True)
class Loaded:
    """One-channel sounds of one rate, and what was done to make them so."""

    sounds: list[Sound]
    notes: list[str]


def options(parser: argparse.ArgumentParser) -> None:
    """Add calibration and channel to a command on sound files."""
    parser.add_argument("--pascal-per-full-scale", type=float, metavar="X", help="calibration of the sounds")
    parser.add_argument(
        "--calibrator",
        type=Path,
        metavar="SOUND",
        help="a recording of the sound calibrator with the same gain: calibrates the sounds",
    )
    parser.add_argument(
        "--calibrator-level", type=float, default=94.0, metavar="DB", help="94 or 114 dB (default 94)"
    )
    parser.add_argument(
        "--channel",
        metavar="N",
        help="channel of all sounds, from 1 (default: the one that is loudest in most of them)",
    )


def pascal_per_full_scale(args: argparse.Namespace) -> float | None:
    """Pascal per full scale, given or from the calibrator's recording.

    Raises
    ------
    SoundError
        Both given, or the recording is not a clean tone of the calibrator.
    """
    if args.calibrator is None:
        given: float | None = args.pascal_per_full_scale
        return given
    if args.pascal_per_full_scale is not None:
        raise SoundError("--pascal-per-full-scale and --calibrator both given; one of them wanted")
    found = calibration.from_calibrator(wav.load(args.calibrator), level_db=args.calibrator_level)
    return found.pascal_per_full_scale


def load(args: argparse.Namespace, paths: Sequence[Path]) -> Loaded:
    """The sounds, each as its one channel, all at one rate.

    Raises
    ------
    MissingFile, SoundError
        A file is not there or cannot be read, or has no such channel.
    """
    scale = pascal_per_full_scale(args)
    whole = [wav.for_measuring(path, scale) for path in paths]
    one, channel_note = _one_channel(whole, args.channel)
    alike, rate_notes = _one_rate(one)
    return Loaded(alike, [*channel_note, *rate_notes])


def _one_channel(sounds: list[Sound], wanted: str | None) -> tuple[list[Sound], list[str]]:
    if all(s.n_channels == 1 for s in sounds):
        return sounds, []
    if wanted is not None and not (wanted.isdigit() and int(wanted) >= 1):
        raise SoundError(f"--channel {wanted}: wanted a number from 1")
    number = int(wanted) if wanted else _usually_loudest(sounds)
    chosen = [s.channel(number - 1) if s.n_channels > 1 else s for s in sounds]
    how = "as asked" if wanted else "the loudest in most of them"
    return chosen, [f"channel {number} of all sounds, {how}; choose with --channel"]


def _usually_loudest(sounds: list[Sound]) -> int:
    counts = Counter(channels.loudest_index(s) + 1 for s in sounds if s.n_channels > 1)
    return min(counts, key=lambda c: (-counts[c], c))


def _one_rate(sounds: list[Sound]) -> tuple[list[Sound], list[str]]:
    counts = Counter(s.rate_hz for s in sounds)
    if len(counts) == 1:
        return sounds, []
    rate_hz = max(counts, key=lambda r: (counts[r], r))
    notes = [f"{s.name}: {s.rate_hz} Hz, converted to {rate_hz} Hz" for s in sounds if s.rate_hz != rate_hz]
    return [resample.to_rate(s, rate_hz) for s in sounds], notes
