"""Levels against IEC 61672-1."""

import numpy as np
import pytest

from listening.audio import sound as sounds
from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import level
from tests.metrics.signals import RATE_HZ, pascals, published, seconds, sine, tone_pressure

IEC = published("iec61672")
HALF_STEP_DB = 0.05  # the tables print one decimal


def _relative_db(frequency_hz: float, weighting: str, rate_hz: int) -> float:
    sound = sine(frequency_hz, 1.2, rate_hz=rate_hz)
    behind = np.concatenate(list(level.weighted(sound, weighting)))
    settled = slice(rate_hz // 5, None)
    whole = round(round(frequency_hz * 0.9) / frequency_hz * rate_hz) if frequency_hz < 50 else None
    inside = behind[settled][:whole]
    return float(10 * np.log10((inside**2).mean() / (sound.samples[settled, 0][:whole] ** 2).mean()))


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("weighting", ["A", "C"])
def test_weightings_follow_the_table_from_20_hz_to_16_khz(weighting: str, rate_hz: int) -> None:
    for frequency_hz, wanted_db in zip(IEC["exact_hz"], IEC[f"{weighting}_db"], strict=True):
        if not 19 < frequency_hz < 17_000:
            continue
        bound_db = (0.1 if frequency_hz <= 10_001 else 0.3) + HALF_STEP_DB
        assert abs(_relative_db(frequency_hz, weighting, rate_hz) - wanted_db) < bound_db, frequency_hz


@pytest.mark.parametrize("burst", IEC["burst"], ids=lambda b: f"{b['duration_ms']} ms")
def test_tone_bursts_of_4_khz_read_what_the_table_says(burst: dict[str, float]) -> None:
    steady = tone_pressure(4000, 94, 3.0)
    n = round(burst["duration_ms"] / 1000 * RATE_HZ)
    short = np.where(np.arange(len(steady)) < n, steady, 0.0)
    long = level.measure(pascals(steady))
    found = level.measure(pascals(np.concatenate([np.zeros(RATE_HZ), short])))
    low, high = burst["class1_db"]
    for name in ("laf_max_db", "las_max_db"):
        if name in burst:
            assert low <= getattr(found, name) - long.la_eq_db - burst[name] <= high, name
    lae_db = found.lae_db - long.la_eq_db
    assert lae_db == pytest.approx(burst["lae_db"], abs=HALF_STEP_DB + 0.1)  # and the onset's splatter


@pytest.mark.parametrize("speed", ["F", "S"])
def test_level_falls_at_the_standards_rate_when_a_tone_stops(speed: str) -> None:
    tone = np.concatenate([tone_pressure(1000, 94, 6.0), np.zeros(RATE_HZ)])
    course = level.course_db(pascals(tone), speed=speed)
    at = 6 * RATE_HZ + RATE_HZ // 5
    rate = (course[at] - course[at + RATE_HZ // 2]) / 0.5
    low, high = IEC["decay_db_per_s"][speed]
    assert low < rate < high


def test_a_tone_of_94_db_reads_94_db_everywhere() -> None:
    found = level.measure(pascals(tone_pressure(1000, 94, 5.0)))
    # LASmax has risen for 5 time constants: 10 lg(1 - exp(-5)) = -0.03 dB
    assert found.las_max_db == pytest.approx(94 - 0.0293, abs=0.005)
    assert found.laf_max_db == pytest.approx(94, abs=0.005)
    assert found.la_eq_db == pytest.approx(94, abs=0.005)
    assert found.lae_db == pytest.approx(94 + 10 * np.log10(5), abs=0.005)
    assert found.calibrated


def test_the_peak_of_a_tone_lies_3_01_db_above_its_level() -> None:
    faded = tone_pressure(1000, 94, 2.0) * np.hanning(2 * RATE_HZ)  # switched on, C itself would overshoot
    assert level.measure(pascals(faded)).lc_peak_db == pytest.approx(94 + 3.0103, abs=0.005)


def test_uncalibrated_levels_are_re_full_scale() -> None:
    found = level.measure(sine(1000, 2.0))
    assert found.la_eq_db == pytest.approx(-3.0103, abs=0.005)
    assert not found.calibrated


@pytest.mark.parametrize("duration_s", [0.5, 2.0])
def test_an_equivalent_level_does_not_depend_on_the_length_and_an_exposure_does(duration_s: float) -> None:
    """A steady tone of 80 dB: LZeq 80 dB, and LAE higher by ten times the logarithm of its seconds."""
    found = level.measure(pascals(tone_pressure(1000.0, 80.0, duration_s)))
    assert found.lz_eq_db == pytest.approx(80.0, abs=0.001)
    assert found.lae_db - found.la_eq_db == pytest.approx(10 * np.log10(duration_s), abs=1e-9)


def test_a_gain_moves_every_level_by_itself() -> None:
    sound = pascals(tone_pressure(500, 70, 1.0))
    before, after = level.measure(sound), level.measure(sound.amplified(-7.5))
    for name in ("laf_max_db", "las_max_db", "la_eq_db", "lae_db", "lz_eq_db", "lc_peak_db"):
        assert getattr(before, name) - getattr(after, name) == pytest.approx(7.5, abs=1e-9)


def test_the_largest_level_may_lie_in_any_block(monkeypatch: pytest.MonkeyPatch) -> None:
    """A tone that stops half-way: the largest levels lie in an early block, the course falls after it."""
    tone = np.concatenate([tone_pressure(500, 70, 1.0), np.full(48_000, 1e-6)])
    whole = level.measure(pascals(tone))
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", 10_000)
    parts = level.measure(pascals(tone))
    for name in ("laf_max_db", "las_max_db", "la_eq_db", "lae_db", "lz_eq_db", "lc_peak_db"):
        assert getattr(parts, name) == pytest.approx(getattr(whole, name), abs=1e-4)  # printed to 0.1 dB


def test_the_peak_between_samples_is_seen() -> None:
    # a quarter of the rate, 45 degrees off: every sample lies at 0.707 of the summit
    tone = np.sin(np.pi / 2 * np.arange(48_000) + np.pi / 4) * np.hanning(48_000)
    found = level.measure(Sound(tone, RATE_HZ))
    c_at_12_khz = 20 * np.log10(abs(level.c_response(np.array([12_000.0]))[0]))
    assert found.lc_peak_db == pytest.approx(c_at_12_khz, abs=0.05)


def test_exposure_is_the_energy_of_all_channels_apart() -> None:
    tone = tone_pressure(1000, 94, 1.0)
    both = Sound(np.column_stack([tone, 2 * tone]), RATE_HZ, 1.0)
    left, right = level.a_weighted_exposure(both)
    assert left == pytest.approx(1.0023**2, rel=2e-3)  # 94 dB is 1.0024 Pa, for 1 s
    assert right == pytest.approx(4 * left, rel=1e-9)


@pytest.mark.parametrize("samples", [np.zeros(1000), np.zeros((1000, 2))])
def test_silence_has_no_level(samples: np.ndarray) -> None:
    with pytest.raises(SoundError, match=r"silence has no level|channels, one wanted"):
        level.measure(Sound(samples, RATE_HZ))


def test_dc_has_a_finite_level() -> None:
    found = level.measure(Sound(np.full(48_000, 0.5), RATE_HZ))
    assert found.lz_eq_db == pytest.approx(20 * np.log10(0.5), abs=1e-9)
    assert np.isfinite(found.laf_max_db)


def test_a_short_course_starts_from_rest() -> None:
    course = level.course_db(pascals(tone_pressure(1000, 94, 1.0)))
    wanted = 94 + 10 * np.log10(1 - np.exp(-seconds(1.0)[6000] / 0.125))
    assert course[6000] == pytest.approx(wanted, abs=0.05)


@pytest.mark.parametrize(("speed", "rate_db_per_s"), [("F", 34.7), ("S", 4.3)])
def test_a_level_falls_at_the_standards_rate_once_the_tone_stops(speed: str, rate_db_per_s: float) -> None:
    """IEC 61672-1:2013, 5.8 with its note, from memory: 34.7 dB/s (F) and 4.3 dB/s (S), printed to 0.1."""
    samples = np.concatenate([sine(1000, 2.0).samples[:, 0], np.zeros(RATE_HZ)])
    course = level.course_db(Sound(samples, RATE_HZ), weighting="Z", speed=speed)
    fall = course[2 * RATE_HZ + 100] - course[2 * RATE_HZ + 100 + RATE_HZ // 2]
    assert fall / 0.5 == pytest.approx(rate_db_per_s, abs=HALF_STEP_DB)


def test_a_level_rises_to_63_percent_of_the_power_within_its_time_constant() -> None:
    """First-order mean from rest: 1 - exp(-1) after 125 ms."""
    steady = Sound(np.ones(RATE_HZ), RATE_HZ)
    course = level.course_db(steady, weighting="Z", speed="F")
    assert course[RATE_HZ // 8 - 1] == pytest.approx(10 * np.log10(1 - np.exp(-1)), abs=1e-6)


@pytest.mark.parametrize("weighting", ["A", "C"])
def test_the_weightings_formula_gives_every_printed_value(weighting: str) -> None:
    """IEC 61672-1:2013 annex E: the table is the formula at the exact frequencies, printed to 0.1 dB."""
    gain = level.RESPONSES[weighting](np.array(IEC["exact_hz"]))
    np.testing.assert_allclose(20 * np.log10(np.abs(gain)), IEC[f"{weighting}_db"], atol=HALF_STEP_DB + 1e-9)


def test_silence_before_a_sound_reads_300_db_below_the_reference() -> None:
    course = level.course_db(pascals(np.concatenate([np.zeros(480), np.ones(480)])), weighting="Z")
    assert course[0] == pytest.approx(-300.0, abs=1e-9)
