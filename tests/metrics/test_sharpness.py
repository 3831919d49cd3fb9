"""Sharpness against DIN 45692, and at the instant of a strike."""

import numpy as np
import pytest
from scipy import optimize

from listening.audio import wav
from listening.audio.sound import FloatArray
from listening.errors import SoundError
from listening.metrics.loud import iso532, loudness, sharpness
from listening.metrics.striking import onset
from tests.metrics.signals import DEMO, RATE_HZ, pascals, published, tone_pressure

DIN = published("din45692")


def _band_noise(low_hz: float, high_hz: float) -> FloatArray:
    """4 s of noise of rms 1, flat inside the band and nothing outside."""
    n = 4 * RATE_HZ
    frequency_hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    inside = (frequency_hz >= low_hz) & (frequency_hz < high_hz)
    phases = np.exp(2j * np.pi * np.random.default_rng(2).random(len(frequency_hz)))
    noise = np.fft.irfft(np.where(inside, phases, 0.0), n)
    return np.asarray(noise / noise.std())


@pytest.mark.parametrize("band", DIN["band"], ids=lambda b: f"{b['centre_hz']} Hz")
def test_critical_band_noise_at_4_sone(band: dict[str, float]) -> None:
    mean_squares = iso532.band_mean_squares(_band_noise(band["low_hz"], band["high_hz"]), RATE_HZ // 5)

    def at(level_db: float) -> loudness.Stationary:
        return loudness.of_bands(iso532.levels_db(mean_squares * 4e-10 * 10 ** (level_db / 10)))

    level_db = optimize.brentq(lambda db: at(db).loudness_sone - 4.0, 20, 100, xtol=1e-6)
    found = float(sharpness.of_specific(at(level_db).specific_sone_per_bark))
    assert found == pytest.approx(band["acum"], abs=DIN["tolerance_acum"])


@pytest.mark.parametrize("design", ["a", "b", "c", "d", "e", "f"])
@pytest.mark.parametrize("support", ["free", "handlebar"])
def test_at_a_strike_sharpness_does_not_run_away(design: str, support: str) -> None:
    """At 4 ms within 50 % of 30 ms; divided by the temporally weighted loudness it would be fivefold."""
    sound = wav.load(DEMO / f"dome_{design}-{support}-1.flac", 2.0)
    start_s, course = onset.find(sound).time_s, loudness.course(sound)
    found = sharpness.of_specific(course.specific_sone_per_bark)
    early, later = (found[np.searchsorted(course.time_s, start_s + after)] for after in (0.004, 0.030))
    assert 0.5 < early / later < 1.5


def test_brightness_does_not_depend_on_what_comes_before_or_after() -> None:
    strike = tone_pressure(3000, 80, 0.5) * np.exp(-np.arange(RATE_HZ // 2) / RATE_HZ / 0.1)
    after_silence = np.concatenate([np.zeros(RATE_HZ // 5), strike, np.zeros(RATE_HZ)])
    alone = sharpness.brightness_acum(loudness.course(pascals(strike)), 0.0)
    assert sharpness.brightness_acum(loudness.course(pascals(after_silence)), 0.2) == pytest.approx(
        alone, rel=1e-3
    )


def test_silence_has_no_sharpness() -> None:
    assert sharpness.of_specific(np.zeros((3, 240))).tolist() == [0.0, 0.0, 0.0]
    with pytest.raises(SoundError, match="no sharpness"):
        sharpness.brightness_acum(loudness.course(pascals(np.zeros(RATE_HZ))), 0.0)
