"""Ten silent plays and ten that sound, over the null sinks of ALSA, PulseAudio and PipeWire: none is lost.

Slow: a sound server keeps real time, and a machine that is busy with anything else loses frames.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests import alsa

pytestmark = [pytest.mark.slow, alsa.needed]
OVER_PULSE = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n"
WAIT_S = 20.0
NULL_SINK = "module-null-sink sink_name=out rate=48000 channels=2"
PIPEWIRE = "pipewire & sleep 1; wireplumber & pipewire-pulse & wait"
PLAYS = """
import json, time
import numpy as np
from listening.audio import silent_plays
from listening.audio.mixer import InTurn
from listening.audio.speaker import Speaker
speaker = Speaker(48000, now_s=time.monotonic)
found = silent_plays.tried(speaker)
told = []
for _ in range(10):
    speaker.start(InTurn([np.full((24000, 1), 0.1, np.float32)], gap_frames=0, lead_in_frames=4800), peak=0.1)
    while (played := speaker.played()).running:
        time.sleep(0.02)
    told.append([played.trouble, played.frames_asked - played.frames_played])
print(json.dumps([found.n_plays, list(found.troubles), found.longest_start_s, told]))
"""


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


@pytest.mark.parametrize("system", list(NEEDED))
def test_no_play_is_lost_on_a_null_sink(tmp_path: Path, system: str) -> None:
    missing = [name for name in NEEDED[system] if shutil.which(name) is None]
    if missing:
        pytest.skip(f"not on this machine: {', '.join(missing)}")
    place = _server(tmp_path, WORDS[system](tmp_path)) if system in WORDS else _alsa(tmp_path)
    with place as environment:
        done = subprocess.run(
            [sys.executable, "-c", PLAYS], env=environment, capture_output=True, text=True, timeout=200
        )
    assert done.returncode == 0, done.stderr
    n_plays, troubles, longest_start_s, told = json.loads(done.stdout)
    print(f"{system}: longest start {longest_start_s:.2f} s")
    assert (n_plays, troubles) == (10, [])
    assert told == [["", 0]] * 10
