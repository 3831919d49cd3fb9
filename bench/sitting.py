"""How soon a sitting takes keys and how soon a key is heard, as ratios to the bare toolkit and to `aplay`.

Run: `python bench/sitting.py`. Ready: from the start of the process until the first key is offered, and
until the page that Enter leads to, over the same for an empty program of the toolkit; in a terminal of our
own, on a sound card made of a file. Audible: from the key's act to the first sample at the monitor of a
null sink of PipeWire, over the same for `aplay` with the same sound: with the device kept awake as a
sitting does, and where it may sleep, so that 0.1 s of silence comes first. The shortest of each counts.
"""

import os
import pty
import select
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))
from tests import alsa, sound_servers, stations  # noqa: E402

RUNS = 5
LONGEST_S = 20.0
MARKS = (b"go on", "go\u00a0on".encode())
NEXT = b"agreement"
TOOLKIT = """
from textual.app import App
from textual.widgets import Static
class Bare(App):
    def compose(self):
        yield Static("go on")
Bare(ansi_color=True).run()
"""
OURS = """
import sys, time
from pathlib import Path
from listening.audio.speaker import Speaker
from listening.session.sounding.aloud import Aloud
from listening.session.sounding.clip_reading import Clips
from listening.session.sounding.player import Program
speaker = Speaker(48000, now_s=time.monotonic)
player = Aloud(Clips(Path(sys.argv[1]), 48000), speaker)
tone = Program(("tone",))
if sys.argv[2] == "awake":
    player.prepare(tone)
    time.sleep(0.5)
print("ready", flush=True)
for line in sys.stdin:
    player.start(tone)
    while player.sounding().running:
        time.sleep(0.005)
"""


def ready_s(words: list[str], environment: dict[str, str], answer: bytes = b"") -> tuple[float, float]:
    """From the start of a program in a terminal until it offers its first key, and until Enter has led on."""
    begun = time.monotonic()
    process, terminal = pty.fork()
    if process == 0:
        os.environ.update(environment)
        os.execvp(words[0], words)
    seen, offered_s = b"", 0.0
    while time.monotonic() - begun < LONGEST_S:
        if select.select([terminal], [], [], 1.0)[0]:
            seen += os.read(terminal, 65536)
        if not offered_s and any(mark in seen for mark in MARKS):
            offered_s = time.monotonic() - begun
            if not answer:
                break
            os.write(terminal, b"\r")
        if answer and answer in seen:
            break
    led_on_s = time.monotonic() - begun
    os.kill(process, 9)
    os.waitpid(process, 0)
    os.close(terminal)
    return offered_s, led_on_s


def readiness(folder: Path) -> tuple[float, float, float]:
    """(first key, next page, bare toolkit), s, the shortest of some starts each, in turn."""
    study = stations.write_station(folder / "study", stations.make_plan())
    environment = alsa.environment(folder)[0] | {"TERM": "xterm-256color", "PYTHONPATH": str(ROOT)}
    sit = [sys.executable, "-m", "listening", "sit", str(study.root), "--listener", "L01"]
    bare = [sys.executable, "-c", TOOLKIT]
    ready_s(sit, environment, NEXT)  # the device is tried, caches are filled
    ours, empty = [], []
    for _ in range(RUNS):
        ours.append(ready_s(sit, environment, NEXT))
        empty.append(ready_s(bare, environment)[0])
    return min(a for a, _ in ours), min(b for _, b in ours), min(empty)


class Monitor:
    """What reaches a null sink, and when."""

    def __init__(self, environment: dict[str, str]) -> None:
        words = [
            "-d",
            "out.monitor",
            "--format=float32le",
            "--rate=48000",
            "--channels=2",
            "--latency-msec=5",
        ]
        self._process = subprocess.Popen(
            ["parec", *words, "--raw"], env=environment, stdout=subprocess.PIPE, bufsize=0
        )
        time.sleep(1.0)

    def first_sound_s(self) -> float:
        """When the next sample that is not silent arrives, s on the monotonic clock."""
        pipe = self._process.stdout
        assert pipe is not None
        while True:
            data = os.read(pipe.fileno(), 4096)
            arrived = time.monotonic()
            if np.abs(np.frombuffer(data[: len(data) // 4 * 4], "<f4")).max(initial=0) > 0.1:
                return arrived

    def drain(self, seconds: float) -> None:
        """Read on for a while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            os.read(self._process.stdout.fileno(), 4096)  # type: ignore[union-attr]

    def close(self) -> None:
        """End the recorder."""
        self._process.kill()
        self._process.wait()


def audibility(folder: Path) -> tuple[float, float, float]:
    """(kept awake, from sleep, aplay), s from the key to the first sample, the shortest of some each."""
    soundfile.write(folder / "tone.wav", np.full((24000, 2), 0.5), 48000, subtype="PCM_16")
    with sound_servers.running("PipeWire", folder) as environment:
        environment |= {"PYTHONPATH": str(ROOT)}
        monitor = Monitor(environment)
        players = [_player(folder, environment, state) for state in ("awake", "asleep")]
        found: list[list[float]] = [[], [], []]
        for _ in range(RUNS + 1):
            for player, times in zip(players, found, strict=False):
                begun = time.monotonic()
                player.stdin.write("\n")  # type: ignore[union-attr]
                player.stdin.flush()  # type: ignore[union-attr]
                times.append(monitor.first_sound_s() - begun)
                monitor.drain(1.0)
            begun = time.monotonic()
            aplay = subprocess.Popen(["aplay", "-q", str(folder / "tone.wav")], env=environment)
            found[2].append(monitor.first_sound_s() - begun)
            monitor.drain(1.0)
            aplay.wait()
        for player in players:
            player.kill()
            player.wait()
        monitor.close()
    awake_s, asleep_s, aplay_s = (min(times[1:]) for times in found)
    return awake_s, asleep_s, aplay_s


def _player(folder: Path, environment: dict[str, str], state: str) -> "subprocess.Popen[str]":
    """A process with the session's player, which plays the tone at each line."""
    words = [sys.executable, "-c", OURS, str(folder), state]
    made = subprocess.Popen(words, env=environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    made.stdout.readline()  # type: ignore[union-attr]
    return made


def main() -> None:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as name:
        first_s, next_s, bare_s = readiness(Path(name))
        print(
            f"ready to take keys: {first_s / bare_s:.1f} times the bare toolkit ({bare_s:.2f} s); "
            f"the page after it {next_s / bare_s:.1f} times",
            flush=True,
        )
    lacking = [*sound_servers.missing("PipeWire"), *(n for n in ("parec", "aplay") if not shutil.which(n))]
    if lacking:
        print(f"key to audible: not on this machine: {', '.join(lacking)}")
        return
    with tempfile.TemporaryDirectory() as name:
        awake_s, asleep_s, aplay_s = audibility(Path(name))
        print(
            f"key to audible: {awake_s / aplay_s:.1f} times aplay ({aplay_s:.3f} s); "
            f"{asleep_s / aplay_s:.1f} times where the device may sleep"
        )


if __name__ == "__main__":
    main()
