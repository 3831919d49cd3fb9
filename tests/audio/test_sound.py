"""What a sound refuses, and what it offers."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        ([], "holds 0 samples"),
        ([0.5], "holds 1 samples"),
        ([0.0, np.nan, 1.0], "1 samples are not numbers.*sample 1"),
        ([0.0, 1.0, np.inf], "not numbers.*sample 2"),
        (np.zeros((2, 2, 2)), "shape"),
    ],
    ids=["empty", "one sample", "nan", "inf", "three dimensions"],
)
def test_samples_that_are_no_sound_are_refused(samples: list[float], message: str) -> None:
    with pytest.raises(SoundError, match=message):
        Sound(np.array(samples), 48_000)


@pytest.mark.parametrize("rate_hz", [0, 100, 44_100.5, 10**7])
def test_impossible_rates_are_refused(rate_hz: float) -> None:
    with pytest.raises(SoundError, match="sample rate"):
        Sound(np.zeros(10), rate_hz)  # type: ignore[arg-type]


@pytest.mark.parametrize("calibration", [0.0, -1.0, np.nan])
def test_impossible_calibrations_are_refused(calibration: float) -> None:
    with pytest.raises(SoundError, match="pascal per full scale"):
        Sound(np.zeros(10), 48_000, calibration)


def test_samples_cannot_be_changed_and_do_not_follow_the_callers_array() -> None:
    given = np.zeros(10)
    sound = Sound(given, 48_000)
    given[0] = 1.0
    assert sound.samples[0, 0] == 0.0
    with pytest.raises(ValueError, match="read-only"):
        sound.samples[0, 0] = 1.0


def test_calibration_turns_full_scale_into_pascal() -> None:
    sound = Sound(np.array([0.5, -0.25]), 48_000, 4.0)
    assert sound.pressure[:, 0].tolist() == [2.0, -1.0]
    assert sound.reference == 20e-6
    assert Sound(np.array([0.5, -0.25]), 48_000).reference == 1.0


def test_measuring_several_channels_as_one_is_refused() -> None:
    with pytest.raises(SoundError, match="2 channels, one wanted"):
        Sound(np.zeros((10, 2)), 48_000).only_channel()
    with pytest.raises(SoundError, match="channel 3 wanted"):
        Sound(np.zeros((10, 2)), 48_000).channel(2)


def test_a_gain_of_6_02_db_doubles() -> None:
    louder = Sound(np.array([0.1, -0.1]), 48_000).amplified(20 * np.log10(2))
    np.testing.assert_allclose(louder.samples[:, 0], [0.2, -0.2], rtol=1e-12)
