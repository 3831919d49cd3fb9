"""How soon a sitting takes keys and how soon a key is heard, as ratios to the bare toolkit and to `aplay`.

Run: `python bench/sitting.py`. Ready: from the start of the process until the first key is offered, over
the same for an empty program of the toolkit; in a terminal of our own, over a sound card made of a file.
Audible: from the key's act to the first sample at the monitor of a null sink of PipeWire, over the same for
`aplay` with the same sound; ours begins with 0.1 s of silence, for devices that swallow their first frames,
and once more without. The shortest of each counts.
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
from listening.audio.speaker import LEAD_IN_S  # noqa: E402
from tests import alsa, sound_servers, stations  # noqa: E402

RUNS = 5
LONGEST_S = 20.0
MARKS = (b"go on", "go\u00a0on".encode())
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
import numpy as np
from listening.audio.mixer import InTurn
from listening.audio.speaker import LEAD_IN_S, Speaker
speaker = Speaker(48000, now_s=time.monotonic)
tone = np.full((24000, 1), 0.5, np.float32)
for line in sys.stdin:
    speaker.start(InTurn([tone], gap_frames=0, lead_in_frames=round(LEAD_IN_S * 48000)), peak=0.5)
    while speaker.played().running:
        time.sleep(0.005)
    print("done", flush=True)
"""


def ready_s(words: list[str], environment: dict[str, str]) -> float:
    """From the start of a program in a terminal until it offers its first key."""
    begun = time.monotonic()
    process, terminal = pty.fork()
    if process == 0:
        os.environ.update(environment)
        os.execvp(words[0], words)
    seen = b""
    while not any(mark in seen for mark in MARKS) and time.monotonic() - begun < LONGEST_S:
        if select.select([terminal], [], [], 1.0)[0]:
            seen += os.read(terminal, 65536)
    taken = time.monotonic() - begun
    os.kill(process, 9)
    os.waitpid(process, 0)
    os.close(terminal)
    return taken


def readiness(folder: Path) -> tuple[float, float]:
    """(sitting, bare toolkit), s, the shortest of some starts each, in turn."""
    study = stations.write_station(folder / "study", stations.make_plan())
    environment = alsa.environment(folder)[0] | {"TERM": "xterm-256color", "PYTHONPATH": str(ROOT)}
    sit = [sys.executable, "-m", "listening", "sit", str(study.root), "--listener", "L01"]
    bare = [sys.executable, "-c", TOOLKIT]
    ready_s(sit, environment)  # the device is tried, caches are filled
    pairs = [(ready_s(sit, environment), ready_s(bare, environment)) for _ in range(RUNS)]
    return min(a for a, _ in pairs), min(b for _, b in pairs)


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


def audibility(folder: Path) -> tuple[float, float]:
    """(key, aplay), s, the shortest of some plays each, in turn."""
    sound = folder / "tone.wav"
    soundfile.write(sound, np.full((24000, 2), 0.5), 48000, subtype="PCM_16")
    with sound_servers.running("PipeWire", folder) as environment:
        environment |= {"PYTHONPATH": str(ROOT)}
        ours = subprocess.Popen(
            [sys.executable, "-c", OURS],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        monitor = Monitor(environment)
        keys, plays = [], []
        for _ in range(RUNS + 1):
            begun = time.monotonic()
            ours.stdin.write("\n")  # type: ignore[union-attr]
            ours.stdin.flush()  # type: ignore[union-attr]
            keys.append(monitor.first_sound_s() - begun)
            monitor.drain(1.0)
            begun = time.monotonic()
            player = subprocess.Popen(["aplay", "-q", str(sound)], env=environment)
            plays.append(monitor.first_sound_s() - begun)
            monitor.drain(1.0)
            player.wait()
        ours.kill()
        ours.wait()
        monitor.close()
    return min(keys[1:]), min(plays[1:])


def main() -> None:
    """Print both ratios."""
    with tempfile.TemporaryDirectory() as name:
        ours_s, bare_s = readiness(Path(name))
        print(
            f"ready to take keys: {ours_s / bare_s:.1f} times the bare toolkit ({bare_s:.2f} s)", flush=True
        )
    lacking = [*sound_servers.missing("PipeWire"), *(n for n in ("parec", "aplay") if not shutil.which(n))]
    if lacking:
        print(f"key to audible: not on this machine: {', '.join(lacking)}")
        return
    with tempfile.TemporaryDirectory() as name:
        key_s, aplay_s = audibility(Path(name))
        sounding_s = key_s - LEAD_IN_S
        print(
            f"key to audible: {key_s / aplay_s:.1f} times aplay ({aplay_s:.3f} s), "
            f"{sounding_s / aplay_s:.1f} times without the silence of {LEAD_IN_S:g} s"
        )


if __name__ == "__main__":
    main()
