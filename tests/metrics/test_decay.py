"""Decay times of sounds that die away at a known rate."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics.loud import loudness
from listening.metrics.striking import audibility, decay
from tests.metrics.signals import RATE_HZ, pascals, seconds, strike, tone_pressure


def _tone(t60_s: float, snr_db: float, seed: int = 1) -> Sound:
    noise = 10 ** (-snr_db / 20) / np.sqrt(2)
    return Sound(strike([1000.0], [t60_s], [1.0], lead_s=0.0, noise_rms=noise, seed=seed), RATE_HZ)


@pytest.mark.parametrize("t60_s", [0.2, 0.5, 1.0, 3.0])
def test_an_exponential_decay_gives_the_same_time_over_every_range(t60_s: float) -> None:
    """ISO 3382-1 takes 5 % for just noticeable; a tone in noise 60 dB down has to do better than 1 %."""
    found = decay.measure(_tone(t60_s, 60), 0.0)
    assert [found.edt_s, found.t20_s, found.t30_s] == pytest.approx([t60_s] * 3, rel=0.01)
    assert found.usable_range_db == pytest.approx(60, abs=2)


def test_noise_hides_the_longer_ranges_first() -> None:
    at = {snr: decay.measure(_tone(1.0, snr), 0.0) for snr in (60, 40, 25, 12)}
    assert at[40].t20_s == pytest.approx(1.0, rel=0.01)
    assert at[40].t30_s is None
    assert at[25].edt_s == pytest.approx(1.0, rel=0.02)
    assert at[25].t20_s is None
    assert at[12].edt_s is None


def test_without_compensation_noise_would_lengthen_the_decay() -> None:
    """What the compensation is for: the raw backward integral of the same sound reads far too long."""
    sound = _tone(0.5, 46)
    energy = np.cumsum((sound.samples[::-1, 0]) ** 2)[::-1]
    level = 10 * np.log10(energy / energy[0])
    inside = (level <= -5) & (level >= -35)
    raw = -60 / np.polyfit(seconds(5.0)[inside], level[inside], 1)[0]
    assert raw > 0.6
    assert decay.measure(sound, 0.0).t30_s == pytest.approx(0.5, rel=0.02)


@pytest.mark.parametrize("keep_s", [0.9, 1.5])
def test_a_cut_off_tail_is_completed(keep_s: float) -> None:
    cut = Sound(_tone(1.5, 200).samples[: round(keep_s * RATE_HZ)], RATE_HZ)
    found = decay.measure(cut, 0.0)
    assert found.t20_s == pytest.approx(1.5, rel=0.01)


def test_digital_silence_after_the_sound_changes_nothing() -> None:
    ring = _tone(0.5, 200).samples[: RATE_HZ // 2, 0]
    padded = Sound(np.concatenate([ring, np.zeros(RATE_HZ)]), RATE_HZ)
    assert decay.measure(padded, 0.0).edt_s == pytest.approx(0.5, rel=0.01)


def test_noise_bursts_decay_too() -> None:
    """Decaying noise, 12 sounds: the mean within 3 standard errors of the truth, each within 10 %."""
    rng, found = np.random.default_rng(8), []
    for _ in range(12):
        noise = rng.standard_normal(3 * RATE_HZ) * np.exp(-np.log(1000) * seconds(3.0) / 1.0)
        found.append(decay.measure(Sound(noise, RATE_HZ), 0.0).t20_s or 0.0)
    assert np.mean(found) == pytest.approx(1.0, abs=3 * np.std(found) / np.sqrt(12))
    assert np.abs(np.array(found) - 1).max() < 0.1


def test_each_band_has_its_own_time() -> None:
    sound = Sound(strike([500.0, 4000.0], [2.0, 0.6], [1.0, 1.0], noise_rms=1e-4, lead_s=0.0), RATE_HZ)
    by_band = decay.by_band(sound, 0.0, per_octave=1)
    at = {round(m): d for m, d in by_band.items()}
    assert at[501].t20_s == pytest.approx(2.0, rel=0.02)
    assert at[3981].t20_s == pytest.approx(0.6, rel=0.02)


def test_the_studys_decay_is_from_the_largest_loudness_to_a_tenth() -> None:
    """Above 40 phon a tenth of the loudness is 33.2 phon less: here 33.2 dB, and hearing's own lag."""
    course = loudness.course(pascals(strike([1000.0], [2.0], [2.0], lead_s=0.1)))
    found = decay.study_decay_s(course)
    assert found is not None
    assert found == pytest.approx(2.0 * 33.2 / 60, rel=0.15)
    top = int(np.argmax(course.loudness_sone))
    at = np.interp(course.time_s[top] + found, course.time_s, course.loudness_sone)
    assert at == pytest.approx(0.1 * course.nmax_sone, rel=1e-6)


def test_a_recording_that_ends_too_soon_has_no_study_decay() -> None:
    course = loudness.course(pascals(tone_pressure(1000, 80, 0.5)))
    assert decay.study_decay_s(course) is None
    assert decay.study_decay_s(loudness.course(pascals(np.zeros(RATE_HZ)))) is None


def test_silence_is_refused() -> None:
    with pytest.raises(SoundError, match="silence"):
        decay.measure(Sound(np.zeros(RATE_HZ), RATE_HZ))


def test_a_strike_is_inaudible_sooner_in_a_louder_background() -> None:
    ring = strike([1000.0], [1.0], [0.2], lead_s=0.5)
    found = []
    for noise_rms in (0.0, 2e-3, 2e-2):
        noise = noise_rms * np.random.default_rng(1).standard_normal(len(ring))
        after = audibility.inaudible_after_s(loudness.course(pascals(ring + noise)), 0.5)
        assert after is not None
        found.append(after)
    assert found[0] > 1.2 * found[1] > 1.2**2 * found[2] > 0


def test_a_background_of_its_own_can_be_given() -> None:
    ring = loudness.course(pascals(strike([1000.0], [1.0], [0.2], lead_s=0.0)))
    quiet = audibility.inaudible_after_s(ring, 0.0)
    hall = loudness.course(pascals(0.01 * np.random.default_rng(2).standard_normal(RATE_HZ)))
    loud = audibility.inaudible_after_s(ring, 0.0, hall)
    assert quiet is not None
    assert loud is not None
    assert loud < quiet


def test_a_strike_that_outlasts_the_recording_has_no_such_time() -> None:
    ring = loudness.course(pascals(strike([1000.0], [9.0], [0.5], lead_s=0.0, duration_s=1.0)))
    assert audibility.inaudible_after_s(ring, 0.0) is None


def test_a_straight_decay_has_no_curvature() -> None:
    pressure = strike([1000.0], [2.0], [0.2], noise_rms=1e-6, lead_s=0.2)
    found = decay.measure(Sound(pressure, RATE_HZ))
    assert abs(found.curvature_percent) < 0.5
    assert found.t30_nonlinearity_permille < 0.1
    assert not found.is_curved


def test_a_decay_of_two_slopes_is_told_by_its_curvature() -> None:
    """Energy of 0.5 s and, 20 dB lower at the start, of 3 s: line by line through the summed integrals."""
    pressure = strike([1000.0, 1700.0], [0.5, 3.0], [0.2, 0.02], noise_rms=1e-7, lead_s=0.2, duration_s=6.0)
    found = decay.measure(Sound(pressure, RATE_HZ))
    time_s = np.arange(0, 5.0, 0.001)
    # the integral of an exponential is its power times T60 over 6 ln 10
    energy = 0.04 * 0.5 * 10 ** (-6 * time_s / 0.5) + 0.0004 * 3.0 * 10 ** (-6 * time_s / 3.0)
    level_db = 10 * np.log10(energy / energy[0])
    times = []
    for bottom in (-25, -35):
        inside = (level_db <= -5) & (level_db >= bottom)
        times.append(-60 / np.polyfit(time_s[inside], level_db[inside], 1)[0])
    assert found.curvature_percent == pytest.approx(100 * (times[1] / times[0] - 1), rel=0.03)
    assert found.is_curved


@pytest.mark.parametrize(
    ("permille", "t30_s", "is_curved"), [(5.0, 1.05, False), (20.0, 1.05, True), (5.0, 1.15, True)]
)
def test_a_decay_is_curved_by_either_of_the_annexs_two_measures(
    permille: float, t30_s: float, is_curved: bool
) -> None:
    """More than 10 per mille of non-linearity, or more than 10 % of curvature (ISO 3382-2, annex B)."""
    found = decay.Decays(1.0, 1.0, t30_s, 60.0, permille, 2.0)
    assert found.is_curved is is_curved
