"""Another rate keeps the sound."""

import numpy as np
import pytest

from listening.audio import resample
from listening.audio.sound import Sound


def _tone(rate_hz: int) -> Sound:
    time_s = np.arange(rate_hz) / rate_hz
    return Sound(0.5 * np.sin(2 * np.pi * 1234.5 * time_s) * np.hanning(rate_hz), rate_hz, 2.0, "tone")


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_a_tone_stays_the_tone_at_the_same_instants(rate_hz: int) -> None:
    found = resample.to_rate(_tone(48_000), rate_hz)
    assert (found.rate_hz, found.pascal_per_full_scale, found.name) == (rate_hz, 2.0, "tone")
    # bound: one step of 16 bits, far below anything measured
    assert np.abs(found.samples - _tone(rate_hz).samples)[: found.n_samples].max() < 2.0**-15


def test_the_right_rate_already_changes_nothing() -> None:
    sound = _tone(48_000)
    assert resample.to_rate(sound, 48_000) is sound
