"""The gain that makes a sound equal in one metric: exact small cases, and each border from both sides."""

from dataclasses import dataclass

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError, StudyError
from listening.stimuli import match

NAME = "made up for a test"
RATE_HZ = 48_000


@dataclass(frozen=True)
class Turned:
    """A sound of which only the gain is known."""

    gain_db: float = 0.0
    name: str = "made up"

    def amplified(self, gain_db: float) -> "Turned":
        return Turned(self.gain_db + gain_db)


@pytest.fixture
def metric(monkeypatch: pytest.MonkeyPatch):
    """A metric of a given curve over the gain; tells at which gains it was read."""

    def make(curve):
        read: list[float] = []

        def value(sound):
            read.append(sound.gain_db)
            return curve(sound.gain_db)

        monkeypatch.setitem(match.VALUE, NAME, value)
        return read

    return make


def gain(target: float, tolerance_db: float = 0.2) -> float:
    return match.gain_db(Turned(), NAME, target=target, tolerance_db=tolerance_db)  # type: ignore[arg-type]


def test_a_metric_that_follows_the_gain_takes_one_step(metric):
    read = metric(lambda gain_db: 60.0 + gain_db)
    assert gain(66.5) == pytest.approx(6.5)
    assert read == pytest.approx([0.0, 6.5])


def test_a_metric_that_follows_half_as_fast_takes_the_slope_it_saw(metric):
    """By hand: 10 short, so 10 dB; it rose by 5, so the slope is 0.5 and the other 5 take 10 dB more."""
    read = metric(lambda gain_db: 60.0 + 0.5 * gain_db)
    assert gain(70.0) == pytest.approx(20.0)
    assert read == pytest.approx([0.0, 10.0, 20.0])


@pytest.mark.parametrize("sign", [1, -1])
def test_thirty_decibels_are_allowed_and_a_hundredth_more_is_not(metric, sign):
    metric(lambda gain_db: gain_db)
    assert gain(sign * 30.0) == sign * 30.0
    with pytest.raises(StudyError, match=r"30\.0 dB would be needed"):
        gain(sign * 30.02)


def test_a_twentieth_of_the_tolerance_is_near_enough_and_more_is_not(metric):
    metric(lambda gain_db: 60.0 + gain_db)
    assert gain(61.0, tolerance_db=20.0) == 0.0
    assert gain(61.25, tolerance_db=20.0) == pytest.approx(1.25)


def test_a_metric_that_no_gain_moves_is_refused_after_thirty_steps(metric):
    read = metric(lambda gain_db: 60.0 + 0.5 * (-1) ** len(read))
    with pytest.raises(StudyError, match=r"still misses 60\.00 .* after 30 steps"):
        gain(60.0)
    assert len(read) == 31


@pytest.mark.parametrize("found", [None, np.inf, -np.inf, np.nan])
def test_a_sound_without_such_a_value_is_named(metric, found):
    metric(lambda gain_db: found)
    with pytest.raises(SoundError, match="made up: has no made up for a test"):
        match.value(Turned(), NAME)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["laf_max_db", "lae_db", "momentary_max_lufs", "true_peak_dbtp"])
def test_a_level_follows_the_gain_decibel_for_decibel(name):
    time_s = np.arange(RATE_HZ) / RATE_HZ
    tone = Sound(0.1 * np.sin(2 * np.pi * 1000 * time_s), RATE_HZ)
    now = match.value(tone, name)
    assert match.value(tone.amplified(-6.0), name) == pytest.approx(now - 6.0, abs=1e-6)
    assert match.gain_db(tone, name, target=now + 3.0, tolerance_db=0.1) == pytest.approx(3.0, abs=0.005)


def test_the_common_value_of_a_set_is_its_median():
    assert match.target([1.0, 2.0, 30.0]) == 2.0
    assert match.target([1.0, 2.0, 4.0, 30.0]) == 3.0
