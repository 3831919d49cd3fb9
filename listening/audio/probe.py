"""Look at the sound devices from a process of their own: a broken set-up takes down that process only."""

import json
import subprocess
import sys
from dataclasses import dataclass
from typing import TypeAlias

from listening.errors import SoundError

TIME_LIMIT_S = 15.0
Look: TypeAlias = subprocess.Popen[str]


@dataclass(frozen=True)
class Device:
    """One output."""

    index: int
    name: str
    channels: int
    rate_hz: float
    """What it runs at by itself; another rate is converted on the way."""
    is_default: bool


def begun() -> Look:
    """A look at the devices that goes on beside other work; `devices` waits for what it says."""
    words = [sys.executable, "-m", "listening.audio.probe"]
    return subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


def devices(look: Look | None = None) -> list[Device]:
    """Every output device, the system's own choice marked; `look`: one that was begun before.

    Raises
    ------
    SoundError
        PortAudio is missing, the sound system breaks when it is opened, or there is no output.
    """
    look = look or begun()
    try:
        out, err = look.communicate(timeout=TIME_LIMIT_S)
    except subprocess.TimeoutExpired as error:
        look.kill()
        raise SoundError(
            f"the sound system gave no answer within {TIME_LIMIT_S:.0f} s; "
            "restart it, or plug the device in again"
        ) from error
    if look.returncode == 2:
        raise SoundError(err.strip().splitlines()[-1])
    if look.returncode != 0:
        raise SoundError(
            f"the sound system broke when it was opened (exit {look.returncode}: {_last_line(err)}); "
            "check the ALSA set-up with: aplay -l"
        )
    found = [Device(**device) for device in json.loads(out)]
    if not found:
        raise SoundError("no sound output was found; plug the headphones' device in and try again")
    return found


def chosen(device: str | None, found: list[Device]) -> Device:
    """The device of that number or name, or the system's own choice.

    Raises
    ------
    SoundError
        There is no such device.
    """
    if device is None:
        return next((d for d in found if d.is_default), found[0])
    for one in found:
        if device in (str(one.index), one.name):
            return one
    names = ", ".join(f"{d.index} {d.name}" for d in found)
    raise SoundError(f"sound device `{device}`: not there; wanted one of: {names}")


def _last_line(text: str) -> str:
    return next((line for line in reversed(text.strip().splitlines())), "no message")


def _main() -> int:
    from listening.audio.portaudio import portaudio

    try:
        sounddevice = portaudio()
    except SoundError as error:
        print(error, file=sys.stderr)
        return 2
    default = sounddevice.default.device[1]
    found = [
        {
            "index": device["index"],
            "name": device["name"],
            "channels": device["max_output_channels"],
            "rate_hz": device["default_samplerate"],
            "is_default": device["index"] == default,
        }
        for device in sounddevice.query_devices()
        if device["max_output_channels"] > 0
    ]
    print(json.dumps(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(_main())
