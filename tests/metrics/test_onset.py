"""Where a strike begins: beats, slow growth, bounces and second strikes."""

import numpy as np
import pytest
from scipy import signal

from listening.audio import wav
from listening.audio.sound import FloatArray, Sound
from listening.metrics.ringing import other_strikes
from listening.metrics.striking import flags, onset
from tests.metrics.signals import RATE_HZ, REAL

TIME_S = np.arange(4 * RATE_HZ) / RATE_HZ


def _ring(hz: float, t60_s: float, peak: float, at_s: float, phase: float = 0.0) -> FloatArray:
    since = np.maximum(TIME_S - at_s, 0.0)
    wave = peak * np.exp(-np.log(1000) * since / t60_s) * np.cos(2 * np.pi * hz * since + phase)
    return np.asarray(np.where(at_s <= TIME_S, wave, 0.0))


def _sound(samples: FloatArray, noise_rms: float = 1e-4) -> Sound:
    noise = noise_rms * np.random.default_rng(0).standard_normal(len(samples))
    return Sound(samples + noise, RATE_HZ)


def _bowl() -> FloatArray:
    """Two modes in opposite phase: it begins in a beat's null and is loudest a third of a second later."""
    return _ring(300, 8, 0.2, 1.0) + _ring(301.5, 8, 0.2, 1.0, np.pi)


def _grown() -> FloatArray:
    since = np.maximum(TIME_S - 1.0, 0.0)
    return np.asarray(0.2 * (1 - np.exp(-since / 0.08)) * np.exp(-since / 1.5) * np.cos(3142 * TIME_S))


BEATING = {
    "a bowl that begins in a null": (_bowl, 1.0, 0.012),
    "slow growth": (_grown, 1.0, 0.008),
    "beats of 4 Hz": (lambda: _ring(1000, 3, 0.2, 0.7) + _ring(1004, 3, 0.19, 0.7, 3.0), 0.7, 0.002),
    "beats of 18 Hz": (lambda: _ring(1000, 3, 0.2, 0.7) + _ring(1018, 3, 0.19, 0.7, 3.0), 0.7, 0.002),
    "a strike": (lambda: _ring(1000, 1, 0.2, 0.7), 0.7, 0.002),
}


@pytest.mark.parametrize("noise_rms", [1e-5, 1e-3, 4e-3])
@pytest.mark.parametrize("name", list(BEATING))
def test_the_onset_is_where_the_sound_leaves_the_noise(name: str, noise_rms: float) -> None:
    """Before, a bowl began a quarter of a second late, in the middle of its ring."""
    make, wanted_s, within_s = BEATING[name]
    found = onset.find(_sound(make(), noise_rms))
    assert found.time_s == pytest.approx(wanted_s, abs=within_s)


@pytest.mark.parametrize("name", list(BEATING))
def test_beats_and_slow_growth_are_no_other_strike(name: str) -> None:
    sound = _sound(BEATING[name][0]())
    assert other_strikes.find(sound, onset.find(sound).time_s) == ()


def test_of_two_strikes_the_louder_is_measured_and_the_other_named() -> None:
    sound = _sound(_ring(1000, 1, 0.1, 0.5) + _ring(1000, 1, 0.2, 2.0))
    start_s = onset.find(sound).time_s
    assert start_s == pytest.approx(2.0, abs=0.002)
    assert other_strikes.find(sound, start_s) == pytest.approx([0.5], abs=0.003)
    assert flags.SECOND_STRIKE in flags.find(sound)


def test_a_rebound_after_60_ms_is_named_though_the_first_still_rings() -> None:
    """It is 8 dB weaker and changes the level by 1 dB; its contact shows above 10 kHz."""
    sound = _sound(_ring(1500, 2, 0.2, 0.5) + _ring(1500, 2, 0.08, 0.56, 1.0))
    assert onset.find(sound).time_s == pytest.approx(0.5, abs=0.002)
    found = flags.find(sound)
    assert flags.REBOUND in found
    assert flags.SECOND_STRIKE not in found


def test_a_file_that_begins_in_noise_has_no_strike_at_its_start() -> None:
    sound = _sound(_ring(1500, 1, 0.2, 0.5), 2e-3)
    assert other_strikes.find(sound, 0.5) == ()


@pytest.mark.parametrize("share", [0.2, 0.1])
def test_a_rebound_14_or_20_db_weaker_is_named_down_to_the_noise(share: float) -> None:
    """Its contact stands out after four differences, which raise white noise by 18 dB; 42 dB over it."""
    clean = _ring(1500, 2, 0.2, 0.5) + _ring(1500, 2, 0.2 * share, 0.56, 1.0)
    for seed in range(4):
        noise = 0.2 * share * 10 ** (-42 / 20) * np.random.default_rng(seed).standard_normal(len(clean))
        assert flags.REBOUND in flags.find(Sound(clean + noise, RATE_HZ))


def _bell(at_s: float, gain_db: float, seed: int, phases: int) -> FloatArray:
    """Eight modes of one object, struck with other strengths and phases, 1 ms of contact noise 26 dB down."""
    rng, other = np.random.default_rng(seed), np.random.default_rng(phases)
    hz, t60_s = np.exp(rng.uniform(np.log(700), np.log(9000), 8)), rng.uniform(0.5, 2.5, 8)
    peaks = 10 ** (gain_db / 20) * other.uniform(0.2, 1, 8) / 8
    since = np.maximum(TIME_S - at_s, 0.0)
    contact = 0.05 * other.standard_normal(len(TIME_S)) * np.exp(-since / 0.001) * (at_s <= TIME_S)
    rings = [_ring(f, t, p, at_s, other.uniform(0, 6.28)) for f, t, p in zip(hz, t60_s, peaks, strict=True)]
    return np.asarray(sum(rings) + 10 ** (gain_db / 20) * contact)


@pytest.mark.parametrize("seed", range(4))
def test_a_rebound_14_db_weaker_is_named_32_db_over_the_noise(seed: int) -> None:
    """A soft contact, under the ringing of eight modes: no difference of the samples shows it."""
    noise = 10 ** (-14 / 20) * 0.3 * 10 ** (-32 / 20)
    for gain_db, wanted in ((-14.0, True), (-200.0, False)):
        samples = _bell(0.5, 0.0, seed, seed) + _bell(0.56, gain_db, seed, seed + 77)
        rough = noise * np.random.default_rng(seed).standard_normal(len(samples))
        assert (flags.REBOUND in flags.find(Sound(samples + rough, RATE_HZ))) is wanted


def test_decaying_modes_are_foretold_and_a_strike_is_not() -> None:
    """After the strike a sum of decaying modes follows from the samples before (Prony 1795)."""
    samples = _ring(1000, 0.3, 0.2, 0.5) + _ring(3170, 0.4, 0.1, 0.5, 1.0)
    left = np.abs(other_strikes.unforeseen(samples[: 3 * RATE_HZ]))
    at = round(0.5 * RATE_HZ)
    assert left[at] > 0.1
    assert left[at + other_strikes.ORDER + 1 :].max() < 1e-3 * left[at]


@pytest.mark.parametrize(("beat_hz", "noise_rms"), [(0.3, 1e-3), (0.5, 1e-5), (0.5, 1e-3), (1.0, 1e-3)])
def test_a_bowl_that_swells_from_nothing_begins_where_it_leaves_the_noise(
    beat_hz: float, noise_rms: float
) -> None:
    """It was taken to begin where it had come within 26 dB of its summit, 14 to 19 ms late."""
    samples = _ring(1000, 8, 0.2, 1.0) + _ring(1000 + beat_hz, 8, 0.2, 1.0, np.pi)
    assert onset.find(_sound(samples, noise_rms)).time_s == pytest.approx(1.0, abs=0.012)


def test_what_swells_out_of_a_beats_null_is_no_strike() -> None:
    """Two equal modes, struck at 1.0 s: for 20 ms, at 1.2 s, their beat sinks into the noise."""
    sound = _sound(_ring(300, 8, 0.2, 1.0) + _ring(300.5, 8, 0.2, 1.0, 2.5), 4e-3)
    start_s = onset.find(sound).time_s
    assert start_s == pytest.approx(1.0, abs=0.002)
    assert other_strikes.find(sound, start_s) == ()


def test_even_ringing_is_no_noise_floor_where_the_file_begins_5_ms_before() -> None:
    """Five partials that beat at once: after 5 ms of quiet the level stays within 4 dB for 20 ms and more."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ - 0.005
    rng = np.random.default_rng(4)
    rough = np.where(time_s >= 0, rng.standard_normal(len(time_s)) * np.exp(-2 * np.maximum(time_s, 0)), 0.0)
    sound = Sound(0.1 * rough + 1e-4 * rng.standard_normal(len(time_s)), RATE_HZ)
    assert onset.find(sound).time_s == pytest.approx(0.005, abs=0.001)


@pytest.mark.skipif(not REAL.is_dir(), reason=f"{REAL}: install sonic-pi-samples")
def test_a_real_bell_begins_where_it_leaves_the_quiet() -> None:
    """Its level rises by 50 dB within 6 ms of the file's start; 31 to 38 ms were read there."""
    bell = wav.load(REAL / "perc_bell2.flac")
    for channel in (0, 1):
        assert 0.003 < onset.find(bell.channel(channel)).time_s < 0.006


@pytest.mark.parametrize("rate_hz", [8_000, 44_100, 192_000])
def test_rumble_goes_through_the_reference_library_s_butterworth_high_pass(rate_hz: int) -> None:
    n = 1200
    wanted = signal.freqz(
        *signal.butter(2, 50.0, "highpass", fs=rate_hz), worN=2 * np.pi * np.arange(n // 2 + 1) / n
    )[1]
    np.testing.assert_allclose(onset._high_pass(n, rate_hz), wanted, atol=1e-9)


@pytest.mark.parametrize(("rise_frames", "below_db"), [(1, 26.0), (200, 40.0)])
def test_in_silence_a_strike_begins_26_db_below_its_loudest_and_what_swells_40_db(
    rise_frames: int, below_db: float
) -> None:
    """Three frames of silence before: too few to tell a noise by."""
    frame_rms = np.concatenate(
        [np.zeros(3), np.linspace(0.5 / rise_frames, 0.5, rise_frames), np.full(50, 0.1)]
    )
    found = onset._threshold(frame_rms, 2 + rise_frames, 3)
    assert 20 * np.log10(0.5 / found) == pytest.approx(below_db)
