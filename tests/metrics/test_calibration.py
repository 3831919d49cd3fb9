"""The calibrator's recording: right when clean, refused when not."""

import numpy as np
import pytest

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics import calibration, level
from tests.metrics.signals import RATE_HZ, seconds


def _tone(frequency_hz: float = 1000.0, peak: float = 0.1, duration_s: float = 3.0) -> FloatArray:
    return np.asarray(peak * np.sin(2 * np.pi * frequency_hz * seconds(duration_s) + 0.7))


def _sound(samples: FloatArray) -> Sound:
    return Sound(samples, RATE_HZ, None, "calibrator.wav")


@pytest.mark.parametrize("level_db", [94.0, 114.0])
@pytest.mark.parametrize("frequency_hz", [250.0, 1000.0, 1000.31, 1003.7])
def test_the_calibrated_tone_reads_the_calibrators_level(level_db: float, frequency_hz: float) -> None:
    noise = 1e-4 * np.random.default_rng(1).standard_normal(3 * RATE_HZ)
    samples = _tone(frequency_hz) + noise + 0.01
    found = calibration.from_calibrator(_sound(samples), level_db=level_db)
    assert found.frequency_hz == pytest.approx(frequency_hz, abs=0.01)
    assert found.distortion == pytest.approx(1e-4 / (0.1 / np.sqrt(2)), rel=0.05)
    calibrated = Sound(samples - 0.01, RATE_HZ, found.pascal_per_full_scale)
    assert level.measure(calibrated).lz_eq_db == pytest.approx(level_db, abs=0.001)


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (_tone(500.0), r"at 500\.0 Hz, 250 or 1000 Hz within 2% wanted"),
        (
            _tone() + 0.01 * np.random.default_rng(1).standard_normal(3 * RATE_HZ),
            r"1\d\.\d% of the tone is something",
        ),
        (_tone() * np.linspace(1.0, 0.95, 3 * RATE_HZ), r"level moves by 0\.\d+ dB"),
        (_tone(duration_s=0.5), r"0\.50 s of calibrator"),
        (np.clip(_tone(), -0.08, 0.08), "tone is clipped"),
        (np.zeros(3 * RATE_HZ), "silence"),
    ],
    ids=["wrong frequency", "noisy", "drifting", "short", "clipped", "silent"],
)
def test_a_bad_recording_is_refused_with_what_was_found(samples: FloatArray, message: str) -> None:
    with pytest.raises(SoundError, match=message):
        calibration.from_calibrator(_sound(samples), level_db=94.0)


def test_levels_no_calibrator_has_are_refused() -> None:
    with pytest.raises(SoundError, match="level 100 dB, wanted 94 or 114 dB"):
        calibration.from_calibrator(_sound(_tone()), level_db=100.0)


def test_a_constant_is_no_tone() -> None:
    with pytest.raises(SoundError, match="strongest tone is at"):
        calibration.from_calibrator(Sound(np.full((48_000, 1), 0.5), 16_000), level_db=94)
