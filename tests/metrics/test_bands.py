"""Third-octave and octave bands against IEC 61260-1."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.metrics import bands, spectrum
from tests.metrics.signals import RATE_HZ, pascals, published, sine, tone_pressure

LIMITS = published("iec61260")["limit"]


def _mapped(power: float, per_octave: int) -> float:
    """Frequency ratio of a limit for a fraction of an octave. Source: IEC 61260-1:2014, (9) and (10)."""
    g, b = bands.OCTAVE_RATIO, per_octave
    omega = g**power
    return float(1 + (g ** (1 / (2 * b)) - 1) / (g**0.5 - 1) * (omega - 1))


@pytest.mark.parametrize("per_octave", [1, 3])
@pytest.mark.parametrize(
    "limit", LIMITS, ids=lambda x: f"G^{x['power']}{' inside' if x.get('inside') else ''}"
)
def test_filters_lie_within_class_1(limit: dict[str, float], per_octave: int) -> None:
    upper = _mapped(limit["power"], per_octave)
    nudge = {True: 1e-9, False: -1e-9, None: 0.0}[limit.get("inside")]  # type: ignore[index]
    for ratio in (upper * (1 - nudge), 1 / (upper * (1 - nudge))):
        gain = bands.band_response(np.array([1000.0 * ratio]), 1000.0, per_octave=per_octave)
        attenuation_db = -20 * np.log10(abs(gain[0]))
        assert attenuation_db >= limit["at_least_db"] - 1e-6
        assert attenuation_db <= limit.get("at_most_db", np.inf) + 1e-6


@pytest.mark.parametrize("per_octave", [1, 3])
def test_bands_add_up(per_octave: int) -> None:
    """IEC 61260-1:2014, 5.12: effective bandwidth of a class 1 filter within 0.4 dB."""
    frequency_hz = np.arange(1.0, 48_000.0, 0.5)
    power = np.abs(bands.band_response(frequency_hz, 1000.0, per_octave=per_octave)) ** 2
    exact_hz = 1000 * (bands.OCTAVE_RATIO ** (0.5 / per_octave) - bands.OCTAVE_RATIO ** (-0.5 / per_octave))
    effective = (power / frequency_hz).sum() * 0.5  # normalised: constant energy per octave
    assert abs(10 * np.log10(effective / (np.log(bands.OCTAVE_RATIO) / per_octave))) < 0.4
    assert exact_hz > 0


def test_a_tone_in_the_middle_of_a_band_reads_its_level_there() -> None:
    found = bands.levels(pascals(tone_pressure(1000, 80, 2.0)))
    assert found.level_db[np.argmin(np.abs(found.midband_hz - 1000))] == pytest.approx(80, abs=0.01)
    assert (np.sort(found.level_db)[:-1] < 63).all()


def test_pink_noise_is_even_over_the_bands() -> None:
    """Density falls by 3.01 dB an octave: each band holds the same power."""
    n = 20 * RATE_HZ
    frequency_hz = np.fft.rfftfreq(n, 1 / RATE_HZ)
    phases = np.exp(2j * np.pi * np.random.default_rng(6).random(len(frequency_hz)))
    pink = np.fft.irfft(phases / np.sqrt(np.maximum(frequency_hz, 1.0)), n)
    found = bands.levels(Sound(pink, RATE_HZ))
    level = found.level_db[(found.midband_hz > 90) & (found.midband_hz < 11_000)]
    assert np.ptp(level) < 0.1  # every bin has the same power: only the filters' overlap is left


def test_filtering_keeps_the_band_and_the_instant() -> None:
    tone = sine(1000, 1.0).samples[:, 0] + sine(4000, 1.0).samples[:, 0]
    kept = bands.filtered(tone, RATE_HZ, 1000.0)
    assert np.sqrt((kept[RATE_HZ // 2 :] ** 2).mean()) == pytest.approx(np.sqrt(0.5), rel=0.01)
    assert not np.allclose(kept[:200], tone[:200], atol=0.1)  # causal: it needs time to swing in


def test_the_highest_bands_fit_below_half_the_rate() -> None:
    assert bands.midbands_hz(8000).max() < 3600
    assert round(bands.midbands_hz(48_000).max()) == 15_849
    assert len(bands.midbands_hz(48_000)) == 29
    assert len(bands.midbands_hz(48_000, per_octave=1)) == 10


def test_the_centroid_of_tones_is_their_energy_weighted_mean() -> None:
    sound = Sound(sine(1000, 1.0).samples + 0.5 * sine(3000, 1.0).samples, RATE_HZ)
    assert spectrum.centroid_hz(sound) == pytest.approx((1000 * 4 + 3000) / 5, abs=0.5)
    assert spectrum.high_share(sound, 2000.0) == pytest.approx(0.2, abs=1e-4)
