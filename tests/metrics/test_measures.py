"""Everything about a sound together: keys, rates, channels, odd sounds, curves, nothing printed."""

import subprocess
import sys
from dataclasses import asdict

import numpy as np
import pytest
from scipy import signal

from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import measures, traces
from tests.metrics.signals import DEMO, RATE_HZ, REAL, pascals, strike

BELL = ((1180.0, 3089.0, 5554.0, 8547.0), (0.9, 0.8, 0.7, 0.6), (0.4, 0.2, 0.15, 0.1))


def _bell(rate_hz: int = RATE_HZ, noise_rms: float = 1e-4) -> Sound:
    return pascals(strike(*BELL, duration_s=2.5, lead_s=0.2, noise_rms=noise_rms, rate_hz=rate_hz), rate_hz)


def test_the_same_sound_at_every_rate_measures_the_same_within_half_a_percent() -> None:
    found = [
        measures.measure(resample.to_rate(_bell(44_100), rate)).as_dict() for rate in (44_100, 48_000, 96_000)
    ]
    for name, value in found[1].items():
        for other in found:
            assert other[name] == pytest.approx(value, rel=0.005), name


def test_calibration_decides_what_can_be_said() -> None:
    with_it = measures.measure(_bell())
    without = measures.measure(Sound(_bell().samples * 0.5, RATE_HZ))
    needs_it = ("nmax_sone", "loudness_level_phon", "sharpness_acum", "decay_s")
    for name, value in with_it.as_dict().items():
        assert value is not None
        assert (without.as_dict()[name] is None) is (name in needs_it), name
    assert set(with_it.as_dict()) == set(asdict(with_it)) - {"flags"}


def test_of_two_channels_the_louder_is_measured() -> None:
    bell = _bell().samples[:, 0]
    both = Sound(np.column_stack([0.5 * bell, bell]), RATE_HZ, 1.0)
    assert measures.measure(both).laf_max_db == pytest.approx(measures.measure(_bell()).laf_max_db)
    dead = Sound(np.column_stack([np.zeros_like(bell), bell]), RATE_HZ, 1.0)
    assert measures.measure(dead).laf_max_db == pytest.approx(measures.measure(_bell()).laf_max_db)


def test_a_gain_moves_levels_and_leaves_decay_alone() -> None:
    before, after = measures.measure(_bell()), measures.measure(_bell().amplified(-10.0))
    assert before.laf_max_db - after.laf_max_db == pytest.approx(10.0, abs=1e-9)
    assert before.true_peak_dbtp - after.true_peak_dbtp == pytest.approx(10.0, abs=1e-9)
    assert after.t60_s == pytest.approx(before.t60_s, rel=1e-6)
    assert after.t20_s == pytest.approx(before.t20_s, rel=1e-6)


@pytest.mark.parametrize(
    "samples",
    [
        np.full(RATE_HZ, 0.25),
        np.array([0.0, 0.5]),
        np.concatenate([np.zeros(RATE_HZ), [1.0], np.zeros(RATE_HZ)]),
        np.concatenate([np.zeros(RATE_HZ), _bell(noise_rms=0.0).samples[:, 0] / 2]),
        1e-9 * np.random.default_rng(1).standard_normal(RATE_HZ),
    ],
    ids=["dc", "two samples", "one click", "zeros before", "inaudible noise"],
)
def test_odd_sounds_have_defined_values(samples: np.ndarray) -> None:
    found = measures.measure(Sound(samples, RATE_HZ, 2.0))
    for name, value in found.as_dict().items():
        assert value is None or np.isfinite(value), name


def test_silence_is_refused() -> None:
    with pytest.raises(SoundError, match="silence"):
        measures.measure(Sound(np.zeros((RATE_HZ, 2)), RATE_HZ, 1.0))


def test_a_strike_has_no_n5_and_a_steady_sound_has() -> None:
    assert measures.examine(_bell()).n5_sone is None
    steady = 0.1 * np.random.default_rng(2).standard_normal(RATE_HZ)
    channel = measures.examine(pascals(steady))
    assert channel.course is not None
    assert channel.n5_sone == pytest.approx(channel.course.nmax_sone, rel=0.2)


def test_nothing_is_printed(capfd: pytest.CaptureFixture[str]) -> None:
    measures.measure(_bell(44_100))
    assert capfd.readouterr() == ("", "")


def test_curves_for_figures_have_their_axes() -> None:
    sound = _bell()
    found = traces.of(sound, measures.examine(sound))
    assert all(a.dtype == np.float32 and np.isfinite(a).all() for a in found.values())
    assert found["specific_sone_per_bark"].shape == (len(found["time_s"]), 240)
    shape = (len(found["spectrogram_time_s"]), len(found["spectrogram_hz"]))
    assert found["spectrogram_db"].shape == shape
    assert found["partial_course_db"].shape == (len(found["partial_hz"]), len(found["partial_time_s"]))
    # the measured course of a partial follows its fitted level and T60
    i = int(np.argmax(found["partial_level_db"]))
    after = found["partial_time_s"] - found["onset_s"]
    inside = (after > 0.1) & (after < 0.5)
    fitted = found["partial_level_db"][i] - 60 * after[inside] / found["partial_t60_s"][i]
    np.testing.assert_allclose(found["partial_course_db"][i][inside], fitted, atol=0.3)


@pytest.mark.parametrize("n_samples", [2000, 96_000, 96_001])
def test_a_spectrogram_is_the_short_time_transform(n_samples: int) -> None:
    """Against scipy's, column by column; ours does not load scipy.signal."""
    sound = Sound(np.random.default_rng(1).standard_normal(n_samples) * 0.1, RATE_HZ)
    found = traces._spectrogram(sound)
    window = signal.windows.hann(1920, sym=False)
    transform = signal.ShortTimeFFT(window, 960, RATE_HZ)
    theirs = transform.stft(sound.only_channel())[:641, -transform.p_min :]
    n_columns = len(found["spectrogram_time_s"])
    assert n_columns == n_samples // 960 + 1
    level_db = 20 * np.log10(np.sqrt(2) * np.abs(theirs) / window.sum())[:, :n_columns]
    assert found["spectrogram_db"] == pytest.approx(level_db.T, abs=1e-6)


def test_curves_of_a_sound_shorter_than_a_window_are_there() -> None:
    """700 samples, less than half of the 40 ms window: scipy refused them."""
    found = traces._spectrogram(Sound(np.random.default_rng(1).standard_normal(700) * 0.1, RATE_HZ))
    assert found["spectrogram_db"].shape == (1, 641)


def test_measuring_loads_neither_scipys_signals_nor_its_optimisers() -> None:
    """Together more than half a second, for every process that measures."""
    source = (
        "import sys, listening.steps.study_measures;"
        "print(sorted({'scipy.signal', 'scipy.stats', 'scipy.optimize'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", source], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_curves_hold_the_deepest_beat_of_each_partial() -> None:
    """0.1 and 0.05 beat 4 times a second by 20 lg(0.15 / 0.05) = 9.5 dB; the partial alone by none."""
    pair = strike((900.0, 904.0, 3000.0), (1.2, 1.2, 1.0), (0.1, 0.05, 0.05), noise_rms=1e-5)
    sound = Sound(pair, RATE_HZ)
    found = traces.of(sound, measures.examine(sound))
    rows = zip(found["partial_hz"], found["partial_beat_hz"], found["partial_beat_db"], strict=True)
    beats = {round(float(hz)): (float(rate), float(depth)) for hz, rate, depth in rows}
    assert beats[900] == pytest.approx((4.0, 9.54), abs=0.05)
    assert beats[904] == pytest.approx((4.0, 9.54), abs=0.05)
    assert beats[3000] == (0.0, 0.0)


def test_a_spectrogram_reads_a_tones_level() -> None:
    time_s = np.arange(RATE_HZ) / RATE_HZ
    tone = pascals(np.sqrt(2) * 20e-6 * 10**3.5 * np.sin(2 * np.pi * 1000 * time_s))
    found = traces.of(tone, measures.examine(tone))
    assert found["spectrogram_db"][10:-10].max(axis=1) == pytest.approx(70.0, abs=0.05)
    bare = Sound(tone.samples, RATE_HZ)
    assert "loudness_sone" not in traces.of(bare, measures.examine(bare))


@pytest.mark.parametrize("name", ["perc_bell", "perc_bell2", "perc_till"])
def test_real_recordings_measure(name: str) -> None:
    path = REAL / f"{name}.flac"
    if not path.exists():
        pytest.skip("sonic-pi-samples is missing: sudo apt-get install sonic-pi-samples")
    found = measures.measure(wav.load(path, 2.0))
    assert all(v is None or np.isfinite(v) for v in found.as_dict().values())
    assert found.t60_s is not None


def test_the_demo_bells_are_clean_recordings() -> None:
    for path in sorted(DEMO.glob("dome_*-1.flac")):
        assert measures.examine(wav.load(path, 2.0)).flags == (), path.name
