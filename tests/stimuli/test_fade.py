"""A fade does not decide a decay: what it hides is not known, and `check` says so."""

import numpy as np
import pytest

from listening.audio.sound import Sound
from listening.intake import recording_faults
from listening.metrics import measures
from listening.metrics.ringing import partials
from listening.metrics.striking import ringing_end
from listening.stimuli.trim import Window, trimmed
from tests.metrics.signals import RATE_HZ, strike

WINDOW = Window(before_onset_s=0.05, length_s=2.5, fade_in_s=0.01, fade_out_s=0.3)


def _bell(t60_s: float, duration_s: float = 8.0) -> Sound:
    hz = (1200.0, 2900.0)
    pressure = strike(hz, (t60_s, t60_s), (0.3, 0.2), noise_rms=1e-5, duration_s=duration_s, lead_s=0.3)
    return Sound(pressure, RATE_HZ, 2.0, "bell")


@pytest.mark.parametrize("t60_s", [6.0, 12.0])
def test_the_decay_of_a_long_bell_is_not_that_of_the_fade(t60_s: float) -> None:
    """Both read 2.2 s before: the fade's. Their partials are read before the fade, and right."""
    cut = trimmed(_bell(t60_s), WINDOW)
    assert measures.measure(cut).decay_s == pytest.approx(2.2, abs=0.1)  # the fade's, when it is not told
    found = measures.measure(cut, fades_from_s=WINDOW.fades_from_s)
    assert found.decay_s is None
    assert found.t60_s == pytest.approx(t60_s, rel=0.005)


def test_the_decay_of_a_short_bell_stays_what_it_is() -> None:
    sound = _bell(1.5)
    found = measures.measure(trimmed(sound, WINDOW), fades_from_s=WINDOW.fades_from_s)
    whole = measures.measure(sound)
    assert found.decay_s == pytest.approx(whole.decay_s, rel=0.01)
    assert found.t60_s == pytest.approx(1.5, rel=0.005)


def test_the_fade_is_no_part_of_a_partial() -> None:
    cut = trimmed(_bell(12.0), WINDOW)
    (first, *_) = measures.examine(cut, fades_from_s=WINDOW.fades_from_s).partials
    assert abs(first.t60_s - 12.0) < 3 * first.t60_se_s
    (faded, *_) = partials.find(cut)
    assert abs(faded.t60_s - 12.0) > abs(first.t60_s - 12.0)


def test_a_sound_that_does_not_stand_out_of_the_room_rings_for_no_time() -> None:
    noise = np.random.default_rng(3).normal(0.0, 0.1, 48_000)
    assert ringing_end.audible_until_s(Sound(noise[:, np.newaxis], 48_000), 0.5) == 0.0


@pytest.mark.parametrize("t60_s", [0.5, 2.0, 4.0])
def test_audible_ringing_ends_60_db_down_or_in_the_noise(t60_s: float) -> None:
    found = ringing_end.audible_until_s(_bell(t60_s), 0.3)
    assert found == pytest.approx(t60_s, abs=0.1)  # frames of 50 ms
    noisy = np.random.default_rng(1).standard_normal(8 * RATE_HZ)[:, np.newaxis] * 0.3 / 2**0.5 * 10**-2
    in_noise = Sound(_bell(t60_s).samples + noisy, RATE_HZ, 2.0)
    # two tones of 0.3 and 0.2 lie 41.6 dB over this noise, A-weighted a little more: 6 dB less than that
    assert ringing_end.audible_until_s(in_noise, 0.3) == pytest.approx(t60_s * 37 / 60, rel=0.1, abs=0.05)


def test_a_recording_that_ends_ringing_has_no_end() -> None:
    assert ringing_end.audible_until_s(_bell(6.0, duration_s=3.0), 0.3) is None


def test_check_says_which_length_would_not_cut(tmp_path) -> None:
    from listening.audio import wav
    from listening.records.protocols import protocol
    from listening.records.sounds import recordings_table
    from tests.stimuli import small_study

    study = small_study.write(tmp_path)
    chosen = protocol.load(study.protocol)
    trimming = chosen.trimming.model_copy(update={"length_s": 2.5, "before_onset_s": 0.05, "fade_out_s": 0.3})
    chosen = chosen.model_copy(update={"trimming": trimming})
    recordings = recordings_table.load(chosen, study.protocol)
    wav.save(recordings[0].file, _bell(4.0))
    found = recording_faults.problems(chosen, recordings, study.protocol)
    (caution,) = [p for p in found if "rings audibly" in p.found]
    assert caution.severity == "caution"
    assert caution.key == recordings[0].recording
    # 4.0 s of ringing, 0.05 s before it and the fade of 0.3 s after it; frames of 50 ms
    assert float(caution.wanted.split()[2]) == pytest.approx(4.35, abs=0.1)
    assert "no question on how long it rings" in caution.wanted
