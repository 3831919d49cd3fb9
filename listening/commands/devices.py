"""`listening devices`: the sound outputs of this computer, and a test of left and right."""

import argparse
from typing import TYPE_CHECKING

from listening.console import show

if TYPE_CHECKING:
    from listening.audio.probe import Device

TEST_HZ = 500.0
TEST_LEVEL_DB = -30.0  # soft on any headphones
TEST_S = 1.0


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument(
        "--test", metavar="D", help="play a soft tone on this device: left, then right, then both"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """List the devices, or test one."""
    from listening.audio import probe

    found = probe.devices()
    if args.test is not None:
        return _test(args, probe.chosen(args.test, found))
    lines = [
        f"{'*' if d.is_default else ' '} {d.index:>3}  {d.name}, {d.channels} channels, {d.rate_hz:.0f} Hz"
        for d in found
    ]
    listed = [vars(device) for device in found]
    show.result(args, [*lines, "* is the system's own choice"], {"devices": listed})
    return 0


def _test(args: argparse.Namespace, device: "Device") -> int:
    from listening.audio import signals
    from listening.console import sounding

    rate_hz = round(device.rate_hz)
    tones = [
        signals.sine(TEST_HZ, rate_hz=rate_hz, length_s=TEST_S, level_db=TEST_LEVEL_DB, side=side)
        for side in signals.SIDES
    ]
    sounding.play(device, tones, rate_hz=rate_hz)
    text = f"{device.name}: a soft tone was sent to the left ear, then the right, then both"
    show.result(args, [text], {"device": device.name, "sent": list(signals.SIDES)})
    return 0
