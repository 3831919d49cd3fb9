"""Onsets, attacks, and what is wrong with a recording."""

import numpy as np
import pytest
from scipy import linalg, signal

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.ringing import other_strikes, partials
from listening.metrics.striking import flags, onset, strike
from tests.metrics.signals import RATE_HZ, seconds, sine
from tests.metrics.signals import strike as ring

BELL = ((1200.0, 3100.0, 5500.0), (1.2, 1.0, 0.8), (0.3, 0.15, 0.1))


def _bell(duration_s: float = 4.0, lead_s: float = 0.7, noise_rms: float = 1e-4) -> FloatArray:
    return ring(*BELL, duration_s=duration_s, lead_s=lead_s, noise_rms=noise_rms)


def _flags(samples: FloatArray) -> tuple[str, ...]:
    return flags.find(Sound(samples, RATE_HZ))


@pytest.mark.parametrize("lead_s", [0.0, 0.01, 0.3, 0.7])
@pytest.mark.parametrize("noise_rms", [0.0, 1e-4, 3e-3])
def test_the_onset_is_found_within_2_ms(lead_s: float, noise_rms: float) -> None:
    found = onset.find(Sound(_bell(lead_s=lead_s, noise_rms=noise_rms), RATE_HZ))
    assert found.time_s == pytest.approx(lead_s, abs=0.002)
    if lead_s > 0.1 and noise_rms:
        assert found.noise_rms == pytest.approx(noise_rms, rel=0.05)
    elif not noise_rms:
        assert found.noise_rms is None


@pytest.mark.parametrize("n", [500, 4000, 9001])
def test_what_is_unforeseen_is_what_linear_prediction_leaves(n: int) -> None:
    """Against scipy's Levinson recursion and direct filter; the equations are kept solvable by 1e-10."""
    samples = np.cumsum(np.random.default_rng(n).standard_normal(n))
    lags = np.correlate(samples, samples, "full")[n - 1 : n + other_strikes.ORDER]
    column = lags[:-1] + 1e-10 * lags[0] * (np.arange(other_strikes.ORDER) == 0)
    taps = np.concatenate([[1.0], -linalg.solve_toeplitz(column, lags[1:])])
    left = signal.lfilter(taps, 1.0, samples)
    assert other_strikes.unforeseen(samples) == pytest.approx(left, abs=1e-6 * np.abs(left).max())


def test_rumble_and_dc_do_not_move_the_onset() -> None:
    rumble = 0.05 * np.sin(2 * np.pi * 9.0 * seconds(4.0)) + 0.02
    assert onset.find(Sound(_bell() + rumble, RATE_HZ)).time_s == pytest.approx(0.7, abs=0.002)


def test_the_loudest_of_two_strikes_counts() -> None:
    soft = 0.3 * ring(*BELL, duration_s=4.0, lead_s=0.2)
    assert onset.find(Sound(_bell(lead_s=2.0) + soft, RATE_HZ)).time_s == pytest.approx(2.0, abs=0.002)


def test_silence_and_the_shortest_sounds() -> None:
    with pytest.raises(SoundError, match="silence"):
        onset.find(Sound(np.zeros(100), RATE_HZ))
    assert onset.find(Sound(np.array([0.0, 1.0]), RATE_HZ)).time_s <= 1 / RATE_HZ


def test_a_clean_recording_has_no_flags() -> None:
    assert _flags(_bell()) == ()


def test_a_steady_tone_has_no_flags() -> None:
    assert _flags(sine(1000, 2.0, peak=0.5).samples[:, 0]) == ()


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        (lambda x: np.clip(x * 3, -0.8, 0.8), flags.CLIPPING),
        (lambda x: np.clip(x, -1.0, 0.35), flags.CLIPPING),
        (lambda x: x + 0.01, flags.DC),
        (lambda x: x + 0.003 * np.sin(2 * np.pi * 50 * seconds(4.0)), flags.HUM),
        (lambda x: x + 0.002 * np.sin(2 * np.pi * 120 * seconds(4.0) + 1) * 1.0
            + 0.002 * np.sin(2 * np.pi * 60 * seconds(4.0)), flags.HUM),
        (lambda x: x + 0.5 * ring(*BELL, duration_s=4.0, lead_s=1.5), flags.SECOND_STRIKE),
        (lambda x: x + 0.5 * ring(*BELL, duration_s=4.0, lead_s=1.0), flags.SECOND_STRIKE),
        (lambda x: x[: round(1.4 * RATE_HZ)], flags.TRUNCATED_TAIL),
        (lambda x: x[:RATE_HZ] * np.minimum(1, np.arange(RATE_HZ)[::-1] / 2400), flags.FADE_OUT),
    ],
    ids=["clipped", "clipped once", "dc", "hum 50", "hum 60", "second strike", "bounce", "cut", "fade"],
)  # fmt: skip
def test_each_fault_raises_its_flag_and_no_other(change, wanted: str) -> None:  # type: ignore[no-untyped-def]
    assert _flags(change(_bell())) == (wanted,)


def test_beating_is_no_second_strike() -> None:
    beating = ring([1000.0, 1003.0, 2500.0], [2.0, 2.0, 1.0], [0.2, 0.2, 0.1], noise_rms=1e-4, lead_s=0.5)
    assert flags.SECOND_STRIKE not in _flags(beating)


def test_a_low_tone_that_touches_full_scale_is_not_clipped() -> None:
    assert not flags.is_clipped(Sound(np.round(sine(50, 1.0).samples * 32767) / 32768, RATE_HZ))


def test_quantised_noise_is_not_clipped() -> None:
    noise = np.random.default_rng(1).standard_normal(RATE_HZ)
    assert not flags.is_clipped(Sound(np.round(noise * 3) / 32768, RATE_HZ))


@pytest.mark.parametrize(
    ("samples", "rings"),
    [
        (_bell(), True),
        (sine(1000, 1.0).samples[:, 0], False),
        (np.concatenate([sine(1000, 0.05).samples[:, 0], np.zeros(RATE_HZ)]), False),
        (sine(1000, 2.0).samples[:, 0] * np.hanning(2 * RATE_HZ), False),
    ],
    ids=["bell", "steady tone", "tone pulse", "swelling tone"],
)
def test_a_strike_is_told_from_other_sounds(samples: FloatArray, rings: bool) -> None:
    sound = Sound(samples, RATE_HZ)
    assert strike.rings_out(sound, onset.find(sound).time_s) is rings


def test_strike_noise_is_what_no_partial_explains() -> None:
    bell, click = _bell(noise_rms=1e-5), np.zeros(4 * RATE_HZ)
    start = round(0.7 * RATE_HZ)
    click[start : start + 480] = 0.2 * np.random.default_rng(3).standard_normal(480)

    def noise_db(samples: FloatArray) -> float:
        sound = Sound(samples, RATE_HZ)
        found = strike.attack(sound, 0.7, partials.find(sound, onset_s=0.7)).strike_noise_db
        assert found is not None
        return found

    assert noise_db(bell) < -35
    ringing = bell[start : start + 2400]
    wanted = 10 * np.log10((click[start : start + 2400] ** 2).sum() / (ringing**2).sum())
    assert noise_db(bell + click) == pytest.approx(wanted, abs=0.5)


def test_rise_time_of_a_known_attack() -> None:
    time_s = seconds(1.0) - 0.3
    rise = np.clip(time_s / 0.02, 0, 1) * (time_s > 0) * np.exp(-np.maximum(time_s - 0.02, 0) / 0.3)
    sound = Sound(rise * np.sin(2 * np.pi * 3000 * time_s), RATE_HZ)
    found = strike.attack(sound, onset.find(sound).time_s, ())
    assert found.rise_s == pytest.approx(0.8 * 0.02, abs=0.001)  # straight from 10 to 90 %
    # straight from 10 % (-20 dB) to 10^(-3/20) = 70.8 %
    assert found.attack_s == pytest.approx((10 ** (-3 / 20) - 0.1) * 0.02, abs=0.001)
    assert found.strike_noise_db is None


def test_dense_partials_that_beat_have_arrived_with_the_strike() -> None:
    """40 modes from one instant: single milliseconds later beat above all others, and are no attack.

    The envelope is above half its rms after the first period, 0.3 ms; a real bell read 96 ms.
    """
    rng = np.random.default_rng(4)
    hz, peaks = np.exp(rng.uniform(np.log(3000), np.log(12_000), 40)), rng.uniform(0.01, 0.03, 40)
    sound = Sound(ring(hz, 8.0 * np.ones(40), peaks, duration_s=1.0, lead_s=0.3, seed=4), RATE_HZ)
    loudest = np.argmax(onset.envelope(sound.only_channel(), 48))
    assert loudest > 300 + 20  # it is a beat
    assert strike.attack(sound, 0.3, ()).attack_s < 0.003


def _steps(*parts: tuple[float, float]) -> Sound:
    """A square wave of 4 kHz whose amplitude is so much for so many ms, one part after the other."""
    amplitude = np.concatenate([np.full(round(ms * RATE_HZ / 1000), a) for ms, a in parts])
    return Sound(amplitude * np.where(np.arange(len(amplitude)) // 6 % 2, -1.0, 1.0), RATE_HZ)


@pytest.mark.parametrize(
    ("before_db", "onset_ms"), [(-25.0, 100.0), (-27.0, 104.0)], ids=["within 26 dB", "further down"]
)
def test_what_is_within_26_db_of_the_peak_is_part_of_the_strike(before_db: float, onset_ms: float) -> None:
    sound = _steps((100, 0.001), (4, 10 ** (before_db / 20)), (1, 1.0), (100, 0.1))
    assert onset.find(sound).time_s * 1000 == pytest.approx(onset_ms, abs=0.2)


@pytest.mark.parametrize(("factor", "onset_ms"), [(3.3, 100.0), (3.0, 104.0)], ids=["10.4 dB", "9.5 dB"])
def test_what_is_10_db_above_the_noise_before_is_part_of_the_strike(factor: float, onset_ms: float) -> None:
    """Noise of 0.1 lies 20 dB below the peak, so 26 dB below the peak says nothing."""
    sound = _steps((100, 0.1), (4, 0.1 * factor), (1, 1.0), (100, 0.1))
    assert onset.find(sound).time_s * 1000 == pytest.approx(onset_ms, abs=0.2)


@pytest.mark.parametrize(("before", "onset_ms"), [(0.55, 100.0), (0.45, 104.0)])
def test_in_strong_noise_half_the_peak_is_enough(before: float, onset_ms: float) -> None:
    """Noise of 0.3: 10 dB above it would be 0.95 of the peak."""
    sound = _steps((100, 0.3), (4, before), (1, 1.0), (100, 0.3))
    assert onset.find(sound).time_s * 1000 == pytest.approx(onset_ms, abs=0.2)


@pytest.mark.parametrize(("gap_ms", "onset_ms"), [(8, 96.0), (60, 160.0)], ids=["joined", "parted"])
def test_a_click_within_40_ms_belongs_to_the_strike(gap_ms: float, onset_ms: float) -> None:
    sound = _steps((96, 0.001), (4, 0.2), (gap_ms, 0.001), (1, 1.0), (100, 0.1))
    assert onset.find(sound).time_s * 1000 == pytest.approx(onset_ms, abs=0.2)


@pytest.mark.parametrize(("last", "onset_ms"), [(0.9, 100.0), (1.1, 170.0)], ids=["5 dB", "7 dB"])
def test_a_jump_of_6_db_is_a_strike_of_its_own_and_less_is_not(last: float, onset_ms: float) -> None:
    """However long the sound before it, 70 ms here."""
    sound = _steps((100, 0.001), (70, 0.5), (1, last), (100, 0.1))
    assert onset.find(sound).time_s * 1000 == pytest.approx(onset_ms, abs=0.5)


@pytest.mark.parametrize(("lead_ms", "wanted"), [(21.5, None), (22.5, 0.01)], ids=["19.5 ms", "20.5 ms"])
def test_the_noise_before_is_told_from_20_ms_of_it_on(lead_ms: float, wanted: float | None) -> None:
    """2 ms before the onset are left out: they may hold its beginning."""
    found = onset.find(_steps((lead_ms, 0.01), (1, 1.0), (100, 0.1)))
    assert found.noise_rms == (wanted if wanted is None else pytest.approx(wanted, rel=0.02))


def test_one_loud_millisecond_later_is_no_later_arrival() -> None:
    """9 dB over the rest, 80 ms after the strike; the loudest 10 ms rise by 2.3 dB, 3 dB are allowed."""
    assert strike.attack(_steps((300, 0.0), (80, 1.0), (1, 2.8), (200, 1.0)), 0.3, ()).attack_s < 0.002


def test_rumble_does_not_count_to_the_attack() -> None:
    """A slow push of 8 Hz, as strong as the strike, before and under it."""
    time_s = seconds(1.0) - 0.3
    rise = np.clip(time_s / 0.02, 0, 1) * (time_s > 0) * np.exp(-np.maximum(time_s - 0.02, 0) / 0.3)
    clean = rise * np.sin(2 * np.pi * 3000 * time_s)
    pushed = clean + np.sin(2 * np.pi * 8 * time_s)
    alone, under = (strike.attack(Sound(x, RATE_HZ), 0.3, ()).attack_s for x in (clean, pushed))
    assert under == pytest.approx(alone, abs=0.001)
