"""Ringing of modes too dense to be told apart: its brightness moves, the strike and every decay stay."""

from functools import cache

import numpy as np
import pytest

from listening.audio.sound import FloatArray, Sound
from listening.errors import StudyError
from listening.metrics.striking import onset
from listening.records.protocols.isolation import Isolation
from listening.stimuli import dense, isolate, modal
from listening.stimuli.isolate import Asked, Variant
from listening.stimuli.modal import TooDense
from listening.stimuli.trim import Window
from tests.metrics.signals import RATE_HZ

ONSET_S = 0.1
WINDOW = Window(before_onset_s=0.05, length_s=1.5, fade_in_s=0.01, fade_out_s=0.2)


@cache
def _crowd(bent: float = 0.0) -> Sound:
    """400 modes from 800 Hz to 12 kHz and 1 ms of contact; T60 0.8 s at 1 kHz, falling with `bent`."""
    rng = np.random.default_rng(1)
    time_s = np.arange(round(1.7 * RATE_HZ)) / RATE_HZ - ONSET_S
    since, total = np.maximum(time_s, 0.0), 1e-7 * rng.standard_normal(len(time_s))
    for hz in np.exp(rng.uniform(np.log(800), np.log(12_000), 400)):
        wave = np.cos(2 * np.pi * hz * since + rng.uniform(0, 2 * np.pi))
        t60_s = 0.8 * (hz / 1000) ** bent
        total += np.where(
            time_s >= 0, 0.004 * rng.uniform(0.2, 1) * np.exp(-6.9078 * since / t60_s) * wave, 0
        )
    total += np.where(time_s >= 0, 0.1 * rng.standard_normal(len(time_s)) * np.exp(-since / 0.001), 0.0)
    return Sound(total, RATE_HZ, name="crowd.wav")


def _asked(**moved: float) -> Asked:
    isolation = Isolation.model_validate({"base": "crowd"} | moved)
    return Asked(
        isolation=isolation,
        end_line=None,
        brightness_ratio=isolation.brightness_ratio,
        decay_ratio=isolation.decay_ratio,
        brightness_key="centroid_hz",
        decay_key="t20_s",
        metric="laf_max_db",
        target=-25.0,
        tolerance_db=0.1,
        window=WINDOW,
    )


@pytest.fixture(scope="module")
def pair() -> tuple[Variant, Variant]:
    """The strike as it is, and brighter; both at the matched level."""
    untouched, bright = isolate.variants(_crowd(), _asked(brightness_ratio=1.15))
    return untouched, bright


def _centroid_hz(sound: Sound) -> float:
    power = np.abs(np.fft.rfft(sound.samples[:, 0])) ** 2
    hz = np.fft.rfftfreq(sound.n_samples, 1 / RATE_HZ)
    return float((power * hz)[hz > 20].sum() / power[hz > 20].sum())


def _band_course_db(sound: Sound, low_hz: float, high_hz: float) -> FloatArray:
    """Level of a band in frames of 50 ms, from 50 to 800 ms after the strike."""
    spectrum = np.fft.rfft(sound.samples[:, 0])
    hz = np.fft.rfftfreq(sound.n_samples, 1 / RATE_HZ)
    band = np.fft.irfft(np.where((hz > low_hz) & (hz < high_hz), spectrum, 0), sound.n_samples)
    frames = band[round(0.1 * RATE_HZ) :][: 15 * RATE_HZ // 20].reshape(15, -1)
    return np.asarray(10 * np.log10((frames**2).mean(axis=1)))


def test_modes_this_dense_cannot_be_told_apart() -> None:
    with pytest.raises(TooDense, match="only its brightness can be moved"):
        modal.split(_crowd())


def test_brightness_moves_by_what_was_asked(pair: tuple[Variant, Variant]) -> None:
    untouched, bright = (v.sound for v in pair)
    assert _centroid_hz(bright) / _centroid_hz(untouched) == pytest.approx(1.15, abs=0.01)
    assert pair[1].isolated.brightness_ratio == pytest.approx(1.15, rel=0.01)
    assert pair[1].isolated.decay_ratio == pytest.approx(1.0, abs=0.05)


def test_the_strike_itself_stays_as_it_was_recorded(pair: tuple[Variant, Variant]) -> None:
    """Its first 10 ms sample by sample, before the gain; peak, noise and onset within their tolerances."""
    untouched, bright = (v.sound for v in pair)
    start = round(onset.find(untouched).time_s * RATE_HZ)
    first = slice(start - 200, start + round(0.0099 * RATE_HZ))
    np.testing.assert_allclose(bright.samples[first], untouched.samples[first], atol=1e-9)
    told = pair[1].isolated
    assert abs(told.peak_db) < 3
    assert told.strike_noise_db == pytest.approx(pair[1].gain_db - pair[0].gain_db, abs=1e-6)
    assert told.onset_ms == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize("low_hz", [850, 1700, 3400, 6000])
def test_every_band_keeps_its_t60(pair: tuple[Variant, Variant], low_hz: float) -> None:
    """2 % of a T60 of 0.8 s are 60 / 0.8 * 0.02 = 1.5 dB/s between the two; the lines told to 2 % too."""
    before, after = (_band_course_db(v.sound, low_hz, 2 * low_hz) for v in pair)
    assert np.polyfit(0.05 * np.arange(15), after - before, 1)[0] == pytest.approx(0.0, abs=1.5)
    assert len(pair[1].isolated.partials) == 5
    for p in pair[1].isolated.partials:
        assert p.t60_after_s == pytest.approx(p.t60_before_s, rel=0.02)


def test_split_and_put_together_it_is_the_recording() -> None:
    whole = modal.as_one(_crowd())
    np.testing.assert_allclose(whole.modal + whole.residual, _crowd().samples[:, 0], atol=1e-15)
    assert not dense.ringing(_crowd(), ONSET_S)[: round((ONSET_S + 0.009) * RATE_HZ)].any()


def test_a_decay_of_dense_modes_is_refused() -> None:
    with pytest.raises(TooDense, match="only its brightness can be moved"):
        isolate.variants(_crowd(), _asked(decay_ratio=1.4))


def test_a_decay_that_moves_with_the_brightness_is_refused_with_numbers() -> None:
    """High modes that die away three times as fast: a brighter ringing is a shorter one."""
    with pytest.raises(StudyError, match=r"t20_s moves by -\d.*every partial keeps its T60"):
        isolate.variants(_crowd(-0.5), _asked(brightness_ratio=1.25, decay_tolerance=0.02))
