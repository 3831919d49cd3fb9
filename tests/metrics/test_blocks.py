"""A long sound worked on in blocks reads as it would whole, and takes memory for a block, not its length."""

import dataclasses
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from listening.audio import long_sound, wav
from listening.audio import sound as sounds
from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import bands, measures, traces
from listening.metrics.comparison import compared
from listening.metrics.loud import loudness
from listening.metrics.striking import ringing_end, strike
from listening.steps import sound_measures
from tests.metrics.signals import strike as ring

RATE_HZ = 44_100  # no whole number of samples in a millisecond
BELL = ((700.0, 1309.0, 2110.0, 5200.0), (2.5, 2.0, 1.5, 0.8), (0.1, 0.3, 0.2, 0.1))
BLOCK = 40_000  # some six of them


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two channels, a strike late in the second block, the second softer and noisier."""
    one, other = (
        ring(*BELL, duration_s=5.5, lead_s=1.7, noise_rms=noise, rate_hz=RATE_HZ) for noise in (1e-4, 3e-4)
    )
    path = tmp_path_factory.mktemp("long") / "take.wav"
    soundfile.write(path, 0.8 * np.column_stack([one, 0.6 * other]), RATE_HZ, subtype="PCM_24")
    return path


@pytest.fixture
def in_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", BLOCK)
    monkeypatch.setattr(long_sound, "HELD_SAMPLES", 10_000)


def _described(path: Path) -> dict[str, Any]:
    return sound_measures.measured(path, 2.0)


def _alike(whole: Any, parts: Any, where: str = "", *, within: float = 1e-4) -> None:
    """All numbers the same further than any is printed: `within` of a unit, and a share of 1e-6."""
    if isinstance(whole, dict):
        assert whole.keys() == parts.keys(), where
        for key in whole:
            _alike(whole[key], parts[key], f"{where}/{key}", within=within)
    elif isinstance(whole, list | tuple):
        assert len(whole) == len(parts), where
        for i, (a, b) in enumerate(zip(whole, parts, strict=True)):
            _alike(a, b, f"{where}/{i}", within=within)
    elif isinstance(whole, float):
        assert parts == pytest.approx(whole, rel=1e-6, abs=within), where
    else:
        assert whole == parts, where


def test_everything_about_a_file_is_the_same_in_blocks(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = _described(file)
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", BLOCK)
    monkeypatch.setattr(long_sound, "HELD_SAMPLES", 10_000)
    parts = _described(file)
    assert isinstance(wav.for_measuring(file), long_sound.LongSound)
    _alike(whole, parts)


def test_a_comparison_is_the_same_in_blocks(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def found() -> dict[str, Any]:
        sound = wav.for_measuring(file, 2.0)
        sides = [sound.channel(0)], [sound.channel(1)]
        return dataclasses.asdict(compared.of(*sides, above_db=60.0))

    whole = found()
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", 2**17)
    monkeypatch.setattr(long_sound, "HELD_SAMPLES", 10_000)
    parts = found()
    bands_whole, bands_parts = whole.pop("bands"), parts.pop("bands")
    _alike(whole, parts, within=1e-3)
    assert len(bands_whole) == len(bands_parts)
    heard = [pair for pair in zip(bands_whole, bands_parts, strict=True) if pair[0]["midband_hz"] > 300.0]
    for one, other in heard:  # printed to 0.1 dB; lines are 0.3 Hz wide
        for name in ("a_db", "b_db", "lost_db", "lower", "upper"):
            assert other[name] == pytest.approx(one[name], abs=0.01), (one["midband_hz"], name)


def test_the_curves_of_a_picture_are_the_same_in_blocks(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sound = wav.load(file, 2.0).channel(0)
    whole = traces.of(sound, measures.examine(sound))
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", BLOCK)
    parts = traces.of(sound, measures.examine(sound))
    for name in whole.keys() - {"specific_sone_per_bark", "partial_course_db", "partial_time_s", "band_db"}:
        assert parts[name] == pytest.approx(whole[name], rel=1e-5, abs=1e-3), name
    assert "specific_sone_per_bark" not in parts


def test_what_is_not_in_the_list_is_the_same_too(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sound = wav.load(file, 2.0).channel(0)

    def found() -> dict[str, float | None]:
        return {
            "audible": ringing_end.audible_until_s(sound, 1.7),
            "above": strike.above_level_s(sound, 70.0),
            "steady": loudness.stationary(sound).loudness_sone,
        } | {f"band {i}": v for i, v in enumerate(bands.levels(sound).level_db[15:])}

    whole = found()
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", BLOCK)
    assert found() == pytest.approx(whole, abs=1e-2)


def test_loudness_over_time_goes_on_from_block_to_block(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the first bit to the last: states are carried, nothing is cut and joined."""
    rng = np.random.default_rng(3)
    noise = Sound(0.1 * rng.standard_normal(96_000) * np.linspace(0, 1, 96_000), 48_000, 1.0)
    whole = loudness.course(noise)
    monkeypatch.setattr(sounds, "BLOCK_SAMPLES", 7001)
    parts = loudness.course(noise, onset_s=0.5)
    assert (parts.loudness_sone == whole.loudness_sone).all()
    assert (parts.instantaneous_sone == whole.instantaneous_sone).all()
    kept = slice(250, 250 + len(parts.specific_sone_per_bark))
    assert len(parts.specific_sone_per_bark) == 500
    assert (parts.specific_sone_per_bark == whole.specific_sone_per_bark[kept]).all()
    assert parts.specific_time_s[0] == pytest.approx(0.5)


def test_flat_tops_are_seen_across_the_joint_of_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    from listening.metrics.striking import flags

    for place in range(95, 103):
        samples = np.full(200, 0.1)
        samples[place : place + 3] = 1.0
        monkeypatch.setattr(sounds, "BLOCK_SAMPLES", 100)
        assert flags.is_clipped(Sound(samples, RATE_HZ)), place
        assert flags.runs(Sound(samples, RATE_HZ), lambda m: m >= 1.0, 3) == 1, place
        assert flags.runs(Sound(samples, RATE_HZ), lambda m: m >= 1.0, 4) == 0, place


def test_a_long_sound_is_read_as_one_that_is_held(file: Path, in_blocks: None) -> None:
    held, long = wav.load(file, 2.0), wav.for_measuring(file, 2.0)
    for one, other in (
        (held, long),
        (held.channel(1), long.channel(1)),
        (held.mono(), long.mono()),
        (held.part(1.0, 2.0), long.part(1.0, 2.0)),
        (held.part(5.0, 9.0).channel(0), long.part(5.0, 9.0).channel(0)),
        (held.amplified(3.0), long.amplified(3.0)),
    ):
        assert (one.samples == other.samples).all()
        assert (one.n_samples, one.n_channels, one.calibrated) == (
            other.n_samples,
            other.n_channels,
            other.calibrated,
        )
    assert wav.digest_in_blocks(long) == wav.digest(held.samples)


def test_a_long_file_that_changes_while_it_is_read_is_told(tmp_path: Path, in_blocks: None) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, np.full((20_000, 1), 0.1), RATE_HZ, subtype="PCM_24")
    long = wav.for_measuring(path)
    soundfile.write(path, np.full((5_000, 1), 0.1), RATE_HZ, subtype="PCM_24")
    with pytest.raises(SoundError, match="while it was read"):
        long.read(0, 20_000)
    path.unlink()
    with pytest.raises(SoundError, match="while it was read"):
        long.read(0, 20_000)


def test_a_long_file_is_refused_for_what_a_short_one_is(tmp_path: Path, in_blocks: None) -> None:
    samples = np.full((60_000, 1), 0.1)
    samples[50_000] = np.nan
    soundfile.write(tmp_path / "nan.wav", samples, RATE_HZ, subtype="FLOAT")
    with pytest.raises(SoundError, match="first at sample 50000"):
        wav.for_measuring(tmp_path / "nan.wav")
    samples[50_000] = 1e9
    soundfile.write(tmp_path / "large.wav", samples, RATE_HZ, subtype="FLOAT")
    with pytest.raises(SoundError, match="1e\\+09 where full scale is 1"):
        wav.for_measuring(tmp_path / "large.wav")


MEASURE = """
import resource, sys
from pathlib import Path
import numpy as np, soundfile
from listening.audio import long_sound
from listening.audio import sound as sounds
from listening.metrics.striking import flags, ringing_part
from listening.steps import sound_measures

sounds.BLOCK_SAMPLES, long_sound.HELD_SAMPLES, ringing_part.LONGEST_SAMPLES = 2**15, 2**17, 2**17
flags.LONGEST_QUIET_S = 1.0
path = Path(sys.argv[1])
for seconds in (8, 8, 60):  # the first warms up
    t = np.arange(seconds * 48_000) / 48_000 - 0.5
    bell = np.where(t < 0, 0.0, 0.3 * np.exp(-4.0 * np.maximum(t, 0)) * np.cos(2 * np.pi * 1309 * t))
    noise = 1e-4 * np.random.default_rng(1).standard_normal(len(t))
    soundfile.write(path, bell + noise, 48_000, subtype="PCM_24")
    del t, bell, noise
    with open("/proc/self/clear_refs", "w") as file:
        file.write("5")  # the peak counts from here
    sound_measures.measured(path, 2.0)
    print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="the peak of memory is set back through /proc")
def test_ten_times_the_length_takes_hardly_more_memory(tmp_path: Path) -> None:
    """Scaled down: blocks of 2^15 samples and recordings of 8 and 60 s stand for 2^20 and minutes.

    A whole minute at 48 kHz is 23 MB a copy; held whole, it took some 20 of them (measured before).
    """
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(tmp_path / "take.wav")],
        capture_output=True,
        text=True,
        check=True,
    )
    _, short_kib, long_kib = map(int, done.stdout.split())
    assert long_kib - short_kib < 1.5 * 60 * 48_000 * 8 / 1024  # less than 1.5 copies of the sound
