"""Trimming: aligned on the strike, one length, fades that leave the strike alone."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics.striking import onset
from listening.stimuli import trim
from listening.stimuli.trim import Window

RATE_HZ = 48_000
WINDOW = Window(before_onset_s=0.05, length_s=0.5, fade_in_s=0.01, fade_out_s=0.1)


def _strike(lead_s: float, length_s: float = 1.0) -> Sound:
    n, lead = round(length_s * RATE_HZ), round(lead_s * RATE_HZ)
    time_s = np.arange(n - lead) / RATE_HZ
    samples = np.full(n, 1e-4)
    samples[lead:] += 0.5 * np.exp(-8 * time_s) * np.cos(2 * np.pi * 2000 * time_s)
    return Sound(samples, RATE_HZ, 2.0, "strike.wav")


@pytest.mark.parametrize("lead_s", [0.06, 0.2, 0.37])
def test_the_strike_stands_at_the_same_instant_whatever_came_before(lead_s: float) -> None:
    cut = trim.trimmed(_strike(lead_s), WINDOW)
    assert cut.n_samples == 0.5 * RATE_HZ
    assert onset.find(cut).time_s == pytest.approx(0.05, abs=0.001)  # onset.find promises about 1 ms


def test_between_the_fades_no_sample_changes() -> None:
    sound = _strike(0.2)
    cut = trim.trimmed(sound, WINDOW)
    start = round((onset.find(sound).time_s - 0.05) * RATE_HZ)
    inner = slice(480, round(0.4 * RATE_HZ))
    np.testing.assert_array_equal(cut.samples[inner], sound.samples[start:][inner])


def test_a_recording_that_begins_late_gets_silence_and_keeps_its_strike() -> None:
    sound = _strike(0.004)
    cut = trim.trimmed(sound, WINDOW)
    silence = round(0.05 * RATE_HZ) - round(onset.find(sound).time_s * RATE_HZ)
    assert not cut.samples[:silence].any()
    strike = round(0.05 * RATE_HZ)
    from_strike = sound.samples[strike - silence :][: round(0.3 * RATE_HZ)]
    np.testing.assert_array_equal(cut.samples[strike:][: len(from_strike)], from_strike)


def test_a_recording_that_ends_early_is_refused_with_the_length_that_fits() -> None:
    with pytest.raises(SoundError, match=r"0\.300 s from the strike.*0\.450 s wanted.*length_s to 0\.35"):
        trim.trimmed(_strike(0.1, length_s=0.4), WINDOW)


def test_the_length_that_the_message_names_does_fit() -> None:
    window = Window(before_onset_s=0.05, length_s=0.349, fade_in_s=0.01, fade_out_s=0.1)
    assert trim.trimmed(_strike(0.1, length_s=0.4), window).duration_s == pytest.approx(0.349)


def test_a_raised_cosine_rises_from_0_to_1_and_is_its_own_complement() -> None:
    rise = trim.rise(480)
    np.testing.assert_allclose(rise + rise[::-1], 1.0, atol=1e-15)
    assert 0 < rise[0] < 1e-5
    assert (np.diff(rise) > 0).all()


def test_two_channels_are_cut_alike() -> None:
    one = _strike(0.2)
    both = Sound(np.hstack([one.samples, -0.5 * one.samples]), RATE_HZ)
    cut = trim.trimmed(both, WINDOW)
    np.testing.assert_array_equal(cut.samples[:, 1], -0.5 * cut.samples[:, 0])
