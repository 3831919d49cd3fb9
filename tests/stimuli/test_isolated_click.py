"""Brightness that is isolated moves the partials and not the click of the strike."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics.striking import onset
from listening.records.protocols.isolation import Isolation
from listening.stimuli import isolate, modal, reshape
from listening.stimuli.isolate import Asked, Variant
from listening.stimuli.trim import Window
from tests.metrics.signals import DEMO

WINDOW = Window(before_onset_s=0.05, length_s=2.5, fade_in_s=0.01, fade_out_s=0.3)
ABOVE_HZ = 15_000.0  # over the highest partial: what is there is the strike's noise


def _asked(ratio: float) -> Asked:
    return Asked(
        isolation=Isolation(base="dome_c/free", brightness_ratio=ratio),
        end_line=None,
        brightness_ratio=ratio,
        decay_ratio=None,
        brightness_key="sharpness_acum",
        decay_key="decay_s",
        metric="nmax_sone",
        target=90.0,
        tolerance_db=0.1,
        window=WINDOW,
    )


def _peak_db(sound: Sound) -> float:
    return float(20 * np.log10(np.abs(sound.samples).max()))


def _click_db(sound: Sound) -> float:
    """Energy of the first 10 ms above all partials."""
    sections = signal.butter(6, ABOVE_HZ, "highpass", fs=sound.rate_hz, output="sos")
    high = signal.sosfilt(sections, sound.samples[:, 0])
    start = round((WINDOW.before_onset_s - 0.002) * sound.rate_hz)
    return float(10 * np.log10((high[start : start + round(0.012 * sound.rate_hz)] ** 2).sum()))


@pytest.fixture(scope="module", params=[1.25, 0.8], ids=["brighter", "duller"])
def pair(request: pytest.FixtureRequest) -> tuple[Variant, Variant]:
    """The strike as it is, and moved; both at the matched level."""
    made = isolate.variants(wav.load(DEMO / "dome_c-free-1.flac", 5.0), _asked(request.param))
    moved = next(v for v in made if v.isolated.tilt_db_per_octave)
    return next(v for v in made if v is not moved), moved


def test_peak_and_click_stay_while_the_partials_move(pair: tuple[Variant, Variant]) -> None:
    """Coloured too, the peak moved by 5.2 dB and the click by 11; the match moves both alike."""
    base, moved = (v.sound.amplified(v.gain_db) for v in pair)
    assert _peak_db(moved) == pytest.approx(_peak_db(base), abs=1.5)
    gain_db = pair[1].gain_db - pair[0].gain_db
    assert _click_db(moved) - gain_db == pytest.approx(_click_db(base), abs=1.0)


def test_what_moved_of_the_strike_is_told(pair: tuple[Variant, Variant]) -> None:
    base, moved = (v.sound.amplified(v.gain_db) for v in pair)
    told = pair[1].isolated
    assert told.peak_db == pytest.approx(_peak_db(moved) - _peak_db(base), abs=1e-9)
    assert told.strike_noise_db == pytest.approx(_click_db(moved) - _click_db(base), abs=1.0)
    assert told.onset_ms == pytest.approx(0.0, abs=1.0)
    assert (pair[0].isolated.peak_db, pair[0].isolated.strike_noise_db) == (0.0, 0.0)
    assert len(told.partials) == 5
    assert len(told.partials) + len(told.other_partials) >= 8  # every partial of the dome


@pytest.mark.parametrize("limit", ["peak_tolerance_db", "strike_noise_tolerance_db"])
def test_what_moves_beyond_its_tolerance_is_refused(limit: str) -> None:
    asked = _asked(1.25)
    narrow = Isolation(base="dome_c/free", brightness_ratio=1.25).model_copy(update={limit: 0.05})
    with pytest.raises(StudyError, match=f"could be what is heard.*{limit}"):
        isolate.variants(wav.load(DEMO / "dome_c-free-1.flac", 5.0), replace(asked, isolation=narrow))


def test_the_moved_version_begins_at_the_same_instant(pair: tuple[Variant, Variant]) -> None:
    base, moved = (onset.find(v.sound).time_s for v in pair)
    assert moved == pytest.approx(base, abs=0.001)


def test_every_partial_keeps_its_t60_to_2_percent(pair: tuple[Variant, Variant]) -> None:
    for partial in pair[1].isolated.partials:
        assert partial.t60_after_s == pytest.approx(partial.t60_before_s, rel=0.02)


def test_a_tilt_weights_partials_and_leaves_the_residual_alone() -> None:
    split = modal.split(wav.load(DEMO / "dome_c-free-1.flac", 5.0))
    moved = reshape.together(split, tilt_db_per_octave=6.0).samples[:, 0]
    partials = reshape.tilted(split.modes, 6.0)
    ringing = modal.ringing(partials, split.sound.n_samples, split.sound.rate_hz, split.onset_s)
    np.testing.assert_allclose(moved - ringing, split.residual, atol=1e-12)
    at_4_khz = np.argmin(np.abs(split.modes.frequency_hz - 3455))
    gain_db = 20 * np.log10(np.abs(partials.amplitude / split.modes.amplitude))[at_4_khz]
    assert gain_db == pytest.approx(6.0 * np.log2(3455.3 / 2000.0), abs=0.01)
