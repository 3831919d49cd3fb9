"""A sitting in lines read aloud in earnest: speech and stimuli recorded from two sinks, never loud at once.

Slow: eSpeak NG says each new line of the terminal, and each word typed, as a screen reader does, in real
time.
"""

import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from tests import alsa, sound_servers, stations, terminal
from tests.terminal import Terminal

LACKING = [
    *sound_servers.missing("PipeWire"),
    *(n for n in ("espeak-ng", "pacat", "parec") if not shutil.which(n)),
]
pytestmark = [
    pytest.mark.slow,
    alsa.needed,
    terminal.needed,
    pytest.mark.skipif(bool(LACKING), reason=f"not on this machine: {', '.join(LACKING)}"),
]
HEADER_BYTES, SPOKEN_HZ = 44, 22_050  # of eSpeak NG's files, 16 bit, one channel
LOUD = 0.005  # of full scale
TYPED = {
    "en": ("", "y", "play", "", "play", "", "play", "a", "", "play", "b", "", ""),
    "de": ("", "j", "hören", "", "hören", "", "hören", "a", "", "hören", "b", "", ""),
}
WITHIN_S = 90.0


class Recorder(threading.Thread):
    """The times at which a sink was loud, on the monotonic clock."""

    def __init__(self, sink: str, environment: dict[str, str]) -> None:
        super().__init__(daemon=True)
        words = ["parec", "-d", f"{sink}.monitor", "--format=float32le", "--rate=48000", "--channels=1"]
        self.process = subprocess.Popen(
            [*words, "--latency-msec=10", "--raw"], env=environment, stdout=subprocess.PIPE, bufsize=0
        )
        self.loud_s: list[tuple[float, float]] = []
        """When each loud piece ended, and how long it was."""

    def run(self) -> None:
        """Until the recorder is ended."""
        pipe = self.process.stdout
        assert pipe is not None
        while data := os.read(pipe.fileno(), 1920):
            piece = np.frombuffer(data[: len(data) // 4 * 4], "<f4")
            if np.abs(piece).max(initial=0) > LOUD:
                self.loud_s.append((time.monotonic(), len(piece) / 48_000))

    def end(self) -> None:
        """No more is recorded."""
        self.process.kill()
        self.process.wait()


class Reader:
    """Says text into the sink `speech`, from an engine that is loaded already, as a screen reader's is."""

    def __init__(self, language: str, environment: dict[str, str]) -> None:
        self._language = language
        words = ["pacat", "--playback", "--device=speech", "--raw", "--rate=22050", "--format=s16le"]
        self._player = subprocess.Popen(
            [*words, "--channels=1", "--latency-msec=30"], env=environment, stdin=subprocess.PIPE, bufsize=0
        )

    def spoken(self, text: str) -> bytes:
        """The samples of a text, 16 bit."""
        words = ["espeak-ng", "-v", self._language, "--stdout", text]
        return subprocess.run(words, capture_output=True, check=True).stdout[HEADER_BYTES:]

    def say(self, samples: bytes) -> None:
        """Say it to its end."""
        assert self._player.stdin is not None
        begun_s = time.monotonic()
        self._player.stdin.write(samples)
        time.sleep(max(0.0, len(samples) / 2 / SPOKEN_HZ - (time.monotonic() - begun_s)))

    def end(self) -> None:
        """Nothing more is said."""
        self._player.kill()
        self._player.wait()


def new_text(said: Path, read: int) -> str:
    """What the terminal wrote beyond so many signs, once it writes no more and something came."""
    end, before = time.monotonic() + WITHIN_S, ""
    while time.monotonic() < end:
        text = said.read_text(errors="replace")[read:] if said.exists() else ""
        if text.strip() and text == before:
            return text
        before = text
        time.sleep(0.4)
    raise AssertionError(f"nothing new within {WITHIN_S} s")


@pytest.mark.parametrize("language", ["en", "de"])
def test_speech_and_stimuli_are_never_loud_at_once(tmp_path: Path, language: str) -> None:
    plan = stations.make_plan(n_trials=2, n_practice=0, sitting=stations.rules(language=language))
    study = stations.write_station(tmp_path / "study", plan)
    said = tmp_path / "said"
    with sound_servers.running("PipeWire", tmp_path) as environment:
        load = ["pactl", "load-module", "module-null-sink", "sink_name=speech", "rate=48000", "channels=2"]
        subprocess.run(load, env=environment, check=True, capture_output=True)
        subprocess.run(["pactl", "set-default-sink", "out"], env=environment, check=True)
        stimuli, speech = (Recorder(sink, environment) for sink in ("out", "speech"))
        stimuli.start(), speech.start()
        reader = Reader(language, environment)
        command = f"{sys.executable} -m listening sit {study.root} --listener L01 --plain"
        with Terminal(command, environment | {"LANG": "C.UTF-8"}) as window:
            window.record(said)
            _read_and_type(window, said, reader, TYPED[language])
        for one in (reader, stimuli, speech):
            one.end()
    assert sum(length for _, length in stimuli.loud_s) > 0.3, "the stimuli were not recorded"
    assert sum(length for _, length in speech.loud_s) > 20.0, "the reader was not recorded"
    ended = np.array([end for end, _ in speech.loud_s])
    nearest = min(float(np.abs(ended - end).min()) for end, _ in stimuli.loud_s)
    print(f"{language}: speech and stimuli are never nearer than {nearest:.2f} s")
    assert nearest > 0.05


def _read_and_type(window: Terminal, said: Path, reader: Reader, typed: tuple[str, ...]) -> None:
    read = 0
    for line in typed:
        text = new_text(said, read)
        reader.say(reader.spoken(text))
        read += len(text) + len(line) + 2  # the echo of what is typed is said with the key
        word = reader.spoken(line) if line else b""
        window.press(*([line] if line else []), "Enter")
        reader.say(word)
    window.wait_for("ended-with-0")
