"""Sound servers of our own with one null sink each, which keep real time as no ALSA null does."""

import os
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from tests import alsa

OVER_PULSE = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n"
WAIT_S = 20.0
NULL_SINK = "module-null-sink sink_name=out rate=48000 channels=2"
PIPEWIRE = "pipewire & sleep 1; wireplumber & pipewire-pulse & wait"


@contextmanager
def _alsa(folder: Path) -> Iterator[dict[str, str]]:
    yield alsa.environment(folder)[0]


@contextmanager
def _server(folder: Path, words: list[str]) -> Iterator[dict[str, str]]:
    """A sound server of our own with PulseAudio's protocol, and what leads to its null sink."""
    (folder / "asound.conf").write_text(OVER_PULSE)
    environment = {
        **{k: v for k, v in os.environ.items() if k != "DBUS_SESSION_BUS_ADDRESS"},
        "HOME": str(folder),
        "XDG_RUNTIME_DIR": str(folder),
        "PULSE_SERVER": f"unix:{folder / 'pulse' / 'native'}",
        "ALSA_CONFIG_PATH": str(folder / "asound.conf"),
    }
    (folder / "pulse").mkdir()
    process = subprocess.Popen(
        words, env=environment, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL, start_new_session=True
    )
    try:
        _wait_for_sink(environment)
        yield environment
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait(WAIT_S)


def _wait_for_sink(environment: dict[str, str]) -> None:
    """Until the server answers and has one sink, made here where it has none."""
    end = time.monotonic() + WAIT_S
    while time.monotonic() < end:
        asked = ["pactl", "list", "short", "sinks"]
        found = subprocess.run(asked, env=environment, capture_output=True, text=True, check=False)
        if found.returncode == 0 and "out" in found.stdout:
            time.sleep(1.0)  # the server's own policy makes it the one that is used
            return
        if found.returncode == 0:
            load = ["pactl", "load-module", *NULL_SINK.split()]
            subprocess.run(load, env=environment, capture_output=True, check=False)
        time.sleep(0.2)
    raise AssertionError("the sound server did not answer")


def _pulseaudio(folder: Path) -> list[str]:
    socket = f"module-native-protocol-unix socket={folder / 'pulse' / 'native'} auth-anonymous=1"
    words = ["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm"]
    return ["pulseaudio", *words, "-L", socket, "-L", NULL_SINK]


NEEDED = {
    "ALSA": (),
    "PulseAudio": ("pulseaudio", "pactl"),
    "PipeWire": ("pipewire", "pipewire-pulse", "wireplumber", "dbus-run-session", "pactl"),
}
WORDS: dict[str, Callable[[Path], list[str]]] = {
    "PulseAudio": _pulseaudio,
    "PipeWire": lambda folder: ["dbus-run-session", "--", "sh", "-c", PIPEWIRE],
}


def missing(system: str) -> list[str]:
    """Programs of a sound system that are not on this machine."""
    return [name for name in NEEDED[system] if shutil.which(name) is None]


def running(system: str, folder: Path) -> AbstractContextManager[dict[str, str]]:
    """A sound system with its null sink; what leads a process to it."""
    return _server(folder, WORDS[system](folder)) if system in WORDS else _alsa(folder)
