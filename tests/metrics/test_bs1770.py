"""Programme loudness against ITU-R BS.1770-5 and the signals of EBU Tech 3341 and 3342."""

import numpy as np
import pytest
from scipy import signal

from listening.audio import resample
from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.loud import loudness_bs1770 as bs
from tests.metrics.signals import RATE_HZ, published, seconds, sine

EBU = published("bs1770")
pyloudnorm = pytest.importorskip("pyloudnorm")


def _tone(parts: list[list[float]], times: int = 1) -> FloatArray:
    levels = np.concatenate([np.full(round(s * RATE_HZ), 10 ** (db / 20)) for db, s in parts * times])
    return np.asarray(levels * np.sin(2 * np.pi * 1000 * np.arange(len(levels)) / RATE_HZ))


def _stereo(samples: FloatArray) -> Sound:
    return Sound(np.column_stack([samples, samples]), RATE_HZ)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_a_full_scale_tone_of_997_hz_reads_minus_3_01(rate_hz: int) -> None:
    sound = sine(997, 5.0, rate_hz=rate_hz)
    assert bs.integrated_lufs(sound) == pytest.approx(-3.010, abs=0.005)
    assert bs.integrated_lufs(sound) == pytest.approx(EBU["anchor_lufs"], abs=0.005)


@pytest.mark.parametrize("case", EBU["integrated"], ids=lambda c: c["case"])
def test_integrated_loudness_of_the_ebu_signals(case: dict) -> None:  # type: ignore[type-arg]
    found = bs.integrated_lufs(_stereo(_tone(case["parts"])))
    assert found == pytest.approx(case["lufs"], abs=case["tolerance"])


def test_surround_channels_weigh_more() -> None:
    case = EBU["surround"]
    tone = np.sin(2 * np.pi * 1000 * seconds(case["seconds"]))
    samples = np.column_stack([10 ** (db / 20) * tone for db in case["levels_db"]])
    assert bs.integrated_lufs(Sound(samples, RATE_HZ)) == pytest.approx(case["lufs"], abs=case["tolerance"])


@pytest.mark.parametrize(
    ("name", "window_s", "from_s"),
    [("short_term", 3.0, 3.0), ("momentary", 0.4, 1.0)],
    ids=["3341-9", "3341-12"],
)
def test_sliding_loudness_stays_constant(name: str, window_s: float, from_s: float) -> None:
    case = EBU[name]
    course = bs.course_lufs(_stereo(_tone(case["parts"], case["times"])), window_s=window_s)
    settled = course[max(0, round((from_s - window_s) * 100)) :]
    assert np.abs(settled - case["lufs"]).max() <= case["tolerance"]


@pytest.mark.parametrize("i", [1, 7, 20])
def test_the_short_term_maximum_finds_a_tone_wherever_it_lies(i: int) -> None:
    case = EBU["short_term_max"]
    silence = [[-200.0, i * 0.15]]
    sound = _stereo(_tone([*silence, [case["level_db"], 3.0], [-200.0, 1.0]]))
    assert bs.measure(sound).short_term_max_lufs == pytest.approx(case["lufs"], abs=case["tolerance"])


@pytest.mark.parametrize("case", EBU["true_peak"], ids=lambda c: c["case"])
def test_true_peak_of_the_ebu_signals(case: dict) -> None:  # type: ignore[type-arg]
    n = RATE_HZ
    angle = 2 * np.pi * np.arange(n) / case["rate_over_frequency"] + np.radians(case["phase_deg"])
    fade = np.minimum(
        1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / 480
    )  # or the switch-on click dominates
    found = bs.true_peak_dbtp(Sound(case["amplitude"] * np.sin(angle) * fade, RATE_HZ))
    low, high = case["tolerance"]
    assert low <= found - case["dbtp"] <= high


@pytest.mark.parametrize("case", EBU["range"], ids=lambda c: c["case"])
def test_loudness_range_of_the_ebu_signals(case: dict) -> None:  # type: ignore[type-arg]
    assert bs.range_lu(_stereo(_tone(case["parts"]))) == pytest.approx(case["lu"], abs=case["tolerance"])


def test_a_tone_of_0_55_s_is_not_diluted_by_a_partial_block() -> None:
    assert bs.integrated_lufs(sine(1000, 0.55)) == pytest.approx(
        bs.integrated_lufs(sine(1000, 5.0)), abs=0.02
    )


def test_a_strike_between_blocks_reaches_the_momentary_maximum() -> None:
    ring = np.exp(-seconds(2.0) / 0.1) * np.sin(2 * np.pi * 1000 * seconds(2.0))
    found = [
        bs.momentary_max_lufs(Sound(np.concatenate([np.zeros(round(lead * RATE_HZ)), ring]), RATE_HZ))
        for lead in (0.4, 0.4137, 0.4555)
    ]
    assert np.ptp(found) < 0.02


def test_sounds_too_short_or_too_soft_have_no_integrated_loudness() -> None:
    short = bs.measure(sine(1000, 0.3))
    assert short.integrated_lufs is None
    assert short.range_lu is None
    assert short.short_term_max_lufs is None
    # the meter reads a 0.3 s tone in its 0.4 s window: 10 lg 0.75 = -1.25 dB
    assert short.momentary_max_lufs == pytest.approx(-3.01 - 1.25, abs=0.05)
    assert bs.integrated_lufs(sine(1000, 1.0, peak=1e-5)) is None


def test_silence_and_too_many_channels_are_refused() -> None:
    with pytest.raises(SoundError, match="silence has no loudness"):
        bs.measure(Sound(np.zeros(RATE_HZ), RATE_HZ))
    with pytest.raises(SoundError, match="7 channels"):
        bs.measure(Sound(np.ones((RATE_HZ, 7)), RATE_HZ))


def test_noise_agrees_with_another_implementation() -> None:
    """pyloudnorm with its filters for 48 kHz, whose coefficients differ a little from the printed ones."""
    noise = 0.1 * np.random.default_rng(4).standard_normal((10 * RATE_HZ, 2))
    noise[: 5 * RATE_HZ] *= 0.3
    meter = pyloudnorm.Meter(RATE_HZ, filter_class="DeMan")
    assert bs.integrated_lufs(Sound(noise, RATE_HZ)) == pytest.approx(
        meter.integrated_loudness(noise), abs=0.02
    )


def test_the_rate_does_not_matter() -> None:
    noise = 0.1 * np.random.default_rng(5).standard_normal(3 * 44_100)
    below_18_khz = signal.sosfiltfilt(signal.butter(12, 18_000, fs=44_100, output="sos"), noise)
    sound = Sound(below_18_khz, 44_100)
    found = [bs.integrated_lufs(resample.to_rate(sound, rate)) for rate in (44_100, 48_000, 96_000)]
    assert np.ptp(np.array(found, dtype=float)) < 0.01


@pytest.mark.parametrize(
    ("channel", "gain_lu"),
    [(0, 0.0), (1, 0.0), (2, 0.0), (4, 1.49), (5, 1.49)],
    ids=["left", "right", "centre", "left surround", "right surround"],
)
def test_each_channel_of_six_counts_with_its_weight(channel: int, gain_lu: float) -> None:
    """BS.1770-5 table 3: 1.41 is +1.5 dB for the surround channels, 1 for the others."""
    samples = np.zeros((RATE_HZ * 2, 6))
    samples[:, channel] = sine(997, 2.0).samples[:, 0]
    assert bs.integrated_lufs(Sound(samples, RATE_HZ)) == pytest.approx(-3.01 + gain_lu, abs=0.01)


def test_the_low_frequency_channel_counts_nothing() -> None:
    """BS.1770-5: the LFE channel, fourth of six, is left out."""
    samples = np.zeros((RATE_HZ * 2, 6))
    samples[:, 0] = sine(997, 2.0).samples[:, 0]
    alone = bs.measure(Sound(samples.copy(), RATE_HZ))
    samples[:, 3] = sine(60, 2.0).samples[:, 0]
    both = bs.measure(Sound(samples, RATE_HZ))
    assert (both.integrated_lufs, both.momentary_max_lufs) == (
        alone.integrated_lufs,
        alone.momentary_max_lufs,
    )


def test_the_absolute_gate_lies_at_minus_70_lufs() -> None:
    """BS.1770-5, annex 1: a tone of 997 Hz reads its level less 3.01."""
    for level_db, is_heard in ((-66.0, True), (-68.0, False)):
        sound = sine(997, 2.0)
        scaled = Sound(sound.samples * 10 ** (level_db / 20) / np.abs(sound.samples).max(), RATE_HZ)
        found = bs.integrated_lufs(scaled)
        assert (found is not None) is is_heard
        assert found is None or found == pytest.approx(level_db - 3.01, abs=0.01)


def test_above_24_khz_the_weighting_stays_as_it_is_there() -> None:
    """The standard gives filters for 48 kHz alone; at higher rates nothing above their range is made up."""
    at, above, below = np.abs(bs.k_response(np.array([24_000.0, 40_000.0, 1_000.0])))
    assert above == pytest.approx(at, rel=1e-12)
    assert below != pytest.approx(at, rel=1e-3)


def test_the_relative_gate_is_10_lu_below_what_passed_the_absolute_one() -> None:
    """BS.1770-5, annex 1, by hand: -20 and -34 LUFS mean -22.9, so the gate at -32.9 leaves out the softer.

    Counted with what lies below -70 the gate would be 3 LU lower, and the softer in it.
    """

    def read(*parts: tuple[float, int]) -> float:
        lufs = np.concatenate([np.full(n, level) for level, n in parts])
        found = bs._integrated(10 ** ((lufs + 0.691) / 10))
        assert found is not None
        return found

    assert read((-20.0, 10), (-34.0, 10), (-90.0, 20)) == pytest.approx(-20.0, abs=1e-9)
    both = 10 * np.log10((10**-2.0 + 10**-3.2) / 2)
    assert read((-20.0, 10), (-32.0, 10), (-90.0, 20)) == pytest.approx(both, abs=1e-9)


@pytest.mark.parametrize("frequency_hz", [997.0, 5_001.0, 11_003.0, 12_000.0])
def test_the_true_peak_is_the_tones_amplitude_between_the_samples_too(frequency_hz: float) -> None:
    """A parabola through three of 192,000 points a second misses a summit by less than 0.02 dB."""
    for phase in (0.1, 0.7, 1.3, np.pi / 16):  # the last: at 12 kHz half-way between two of the points
        at = np.arange(RATE_HZ // 2) / RATE_HZ
        tone = 0.1 * np.sin(2 * np.pi * frequency_hz * at + phase) * signal.windows.tukey(at.size, 0.2)
        assert bs.true_peak_dbtp(Sound(tone, RATE_HZ)) == pytest.approx(-20.0, abs=0.02)
