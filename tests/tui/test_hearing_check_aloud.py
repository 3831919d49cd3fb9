"""The hearing check in the real program: soft tones in one ear; slow, for nobody hurries a tone."""

import sys
import time
from pathlib import Path

import numpy as np
import pytest

from tests import alsa, stations, terminal
from tests.terminal import Terminal

pytestmark = [pytest.mark.slow, alsa.needed, terminal.needed]

WITHIN_S = 60.0
FIRST_HZ = 1000.0
BELOW_STRONGEST_DB = 23.0  # the first tone: 20 dB below the loudest, which is 3 dB below the strongest clip


def test_the_first_tone_is_soft_pure_and_in_one_ear(tmp_path: Path) -> None:
    rules = stations.rules(hearing_check=True)
    study = stations.write_station(tmp_path / "study", stations.make_plan(sitting=rules), seconds=1.0)
    environment, captured = alsa.environment(tmp_path)
    with Terminal(f"{sys.executable} -m listening sit {study.root} --listener L01", environment) as window:
        window.to_level_check()
        window.wait_for("Hearing check", "no medical test")
        level_clip = alsa.samples(captured)
        window.press("Enter")
        window.wait_for("Part 1 of 8")
        tone = _next_sound(captured, len(level_clip))
        window.press("n")
        window.wait_for("What you will be asked")
    own, other = sorted((0, 1), key=lambda ear: -np.abs(tone[:, ear]).max())
    assert not tone[:, other].any()
    steady = tone[np.flatnonzero(tone[:, own])[0] :][800:6400, own]  # whole periods of 1 kHz at 8 kHz
    spectrum = np.abs(np.fft.rfft(steady)) ** 2
    assert np.argmax(spectrum) == FIRST_HZ / stations.RATE_HZ * len(steady)
    assert spectrum.max() / spectrum.sum() > 0.9999
    clip_rms = np.sqrt(np.mean(level_clip[np.abs(level_clip[:, 0]) > 0][:, 0] ** 2))
    below_db = 20 * np.log10(clip_rms / np.sqrt(np.mean(steady**2)))
    # white noise of a second: its LAFmax lies within 3 dB of its level
    assert below_db == pytest.approx(BELOW_STRONGEST_DB, abs=3.0)


def _next_sound(captured: Path, start: int) -> np.ndarray:
    """(frames, 2) of what is played after frame `start`, once 0.9 s of it have sounded."""
    end = time.monotonic() + WITHIN_S
    while time.monotonic() < end:
        played = alsa.samples(captured)[start:]
        if np.count_nonzero(np.abs(played).max(axis=1)) > 0.9 * stations.RATE_HZ:
            return played
        time.sleep(0.1)
    raise AssertionError(f"no tone within {WITHIN_S} s")
