"""`listening measure SOUND…` as a person or a program calls it."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from listening import cli
from listening.audio import wav
from listening.audio.sound import Sound
from tests.metrics.signals import RATE_HZ, strike

FILE_KEYS = {
    "file", "rate_hz", "duration_s", "flags", "integrated_lufs", "momentary_max_lufs", "loudness_range_lu",
    "true_peak_dbtp", "channels", "shared_partials",
}  # fmt: skip
CHANNEL_KEYS = {
    "laf_max_db", "lae_db", "lc_peak_db", "nmax_sone", "n5_sone", "loudness_level_phon", "sharpness_acum",
    "centroid_hz", "edt_s", "t20_s", "t30_s", "partials", "unexplained_share",
}  # fmt: skip
PARTIAL_KEYS = {
    "frequency_hz", "frequency_se_hz", "level_db", "t60_s", "t60_se_s", "snr_db", "beating",
}  # fmt: skip
CALIBRATED_ONLY = {"nmax_sone", "n5_sone", "loudness_level_phon", "sharpness_acum"}


@pytest.fixture
def bell(tmp_path: Path) -> Path:
    ring = strike([1000.0, 1004.0, 3000.0], [1.0, 1.1, 0.7], [0.2, 0.1, 0.1], duration_s=2.0, noise_rms=1e-4)
    wav.save(tmp_path / "bell.wav", Sound(np.column_stack([ring, 0.5 * ring]), RATE_HZ))
    return tmp_path / "bell.wav"


def _json(capsys: pytest.CaptureFixture[str], *words: str) -> list[dict]:  # type: ignore[type-arg]
    assert cli.main(["measure", *words, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, list)
    return found


def test_json_keeps_the_contract(bell: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one, again = _json(capsys, str(bell), str(bell), "--pascal-per-full-scale", "2")
    assert one == again
    assert set(one) >= FILE_KEYS
    assert (one["file"], one["rate_hz"], one["duration_s"], one["flags"]) == (str(bell), RATE_HZ, 2.0, [])
    assert one["loudness_range_lu"] is None
    assert "60 s" in one["reasons"]["loudness_range_lu"]
    assert len(one["channels"]) == 2
    for channel in one["channels"]:
        assert set(channel) >= CHANNEL_KEYS
        levels = [p["level_db"] for p in channel["partials"]]
        assert levels == sorted(levels, reverse=True)
        assert all(set(p) >= PARTIAL_KEYS for p in channel["partials"])
    strongest, _, high = one["channels"][0]["partials"]
    assert strongest["beating"] == pytest.approx([1004.0], abs=0.01)
    assert strongest["beat_rates_hz"] == pytest.approx([4.0], abs=0.01)
    assert high["beating"] == []
    first = one["channels"][0]
    assert first["frequency_ratios"] == pytest.approx([1.0, 1.004, 3.0], rel=1e-4)
    # by hand: energies of a decaying sine go with amplitude^2 T60; 3 kHz lies below 4 kHz
    assert first["share_above_4_khz"] < 0.01
    # the octave around 4 kHz, 2.8 to 5.7 kHz, holds the partial of 0.7 s alone
    assert first["t20_s_by_octave"]["3981"] == pytest.approx(0.7, rel=0.05)
    assert first["steady_sone"] is None
    assert one["channels"][0]["n5_sone"] is None
    assert "single strike" in one["channels"][0]["reasons"]["n5_sone"]


def test_without_calibration_levels_are_re_full_scale_and_sone_is_null(
    bell: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (bare,) = _json(capsys, str(bell))
    (calibrated,) = _json(capsys, str(bell), "--pascal-per-full-scale", "20e-6")
    for a, b in zip(bare["channels"], calibrated["channels"], strict=True):
        assert all(a[key] is None for key in CALIBRATED_ONLY)
        assert a["laf_max_db"] == pytest.approx(
            b["laf_max_db"], abs=1e-6
        )  # 20 µPa at full scale: the same number


def test_a_dead_channel_is_flagged_not_fatal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    ring = strike([1000.0], [1.0], [0.2], duration_s=2.0)
    wav.save(tmp_path / "half.wav", Sound(np.column_stack([ring, 0 * ring]), RATE_HZ))
    (found,) = _json(capsys, str(tmp_path / "half.wav"))
    assert found["flags"] == ["silent-channel"]
    assert found["channels"][1]["laf_max_db"] is None
    assert found["channels"][1]["partials"] == []


def test_text_names_the_file_and_its_partials(bell: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["measure", str(bell)]) == 0
    out = capsys.readouterr().out
    assert "1000.00 Hz" in out
    assert "beats with 1004.00 Hz, 4.00 a second" in out
    assert "non-linearity of T20" in out
    assert "dB re full scale" in out
    assert max(map(len, out.splitlines())) <= 120


@pytest.mark.parametrize("content", [b"", b"not a sound at all"], ids=["empty", "text"])
def test_a_bad_file_is_one_plain_line_and_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes
) -> None:
    (tmp_path / "bad.wav").write_bytes(content)
    assert cli.main(["measure", str(tmp_path / "bad.wav"), "--json"]) == 2
    found = capsys.readouterr()
    assert found.out == ""
    assert found.err.startswith("listening: ")
    assert "Traceback" not in found.err
    assert len(found.err.splitlines()) == 1


def test_a_recording_of_the_calibrator_calibrates(
    bell: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    tone = 0.1 * np.sin(2 * np.pi * 1000 * time_s)
    wav.save(tmp_path / "calibrator.wav", Sound(tone, RATE_HZ))
    words = [str(bell), "--calibrator", str(tmp_path / "calibrator.wav")]
    (at_94,) = _json(capsys, *words)
    (at_114,) = _json(capsys, *words, "--calibrator-level", "114")
    # a tone of rms 0.0707 is 94 dB: 20 µPa times 10^4.7 over 0.0707
    assert at_94["pascal_per_full_scale"] == pytest.approx(20e-6 * 10**4.7 / (0.1 / np.sqrt(2)), rel=1e-5)
    assert at_114["channels"][0]["lae_db"] - at_94["channels"][0]["lae_db"] == pytest.approx(20.0, abs=1e-9)
    assert at_94["channels"][0]["nmax_sone"] > 1


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--pascal-per-full-scale", "2"], "both given"),
        (["--calibrator-level", "100"], "wanted 94 or 114 dB"),
        ([], "level moves|the strongest tone|something else"),
    ],
    ids=["both", "level", "not a calibrator"],
)
def test_a_wrong_calibration_is_refused(
    bell: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], message: str
) -> None:
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    wav.save(tmp_path / "tone.wav", Sound(0.1 * np.sin(2 * np.pi * 440 * time_s), RATE_HZ))
    assert cli.main(["measure", str(bell), "--calibrator", str(tmp_path / "tone.wav"), *words]) == 2
    assert re.search(message, capsys.readouterr().err)


def test_channels_of_a_take_have_common_partials(bell: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (one,) = _json(capsys, str(bell))
    found = sorted(one["shared_partials"], key=lambda p: p["frequency_hz"])
    assert [p["frequency_hz"] for p in found] == pytest.approx([1000.0, 1004.0, 3000.0], abs=0.01)
    assert [p["t60_s"] for p in found] == pytest.approx([1.0, 1.1, 0.7], rel=0.01)
    for p in found:
        assert p["level_db"][0] - p["level_db"][1] == pytest.approx(6.02, abs=0.01)  # twice the amplitude
    assert cli.main(["measure", str(bell)]) == 0
    said = capsys.readouterr().out
    assert "common to the 2 channels" in said
    assert "of the energy unexplained" in said


def test_strikes_together_share_their_partials(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    files = []
    for number, peaks in enumerate([(0.2, 0.1), (0.05, 0.2), (0.1, 0.1)], start=1):
        ring = strike([1000.0, 3000.0], [1.0, 0.7], peaks, duration_s=2.0, noise_rms=1e-4, seed=number)
        files.append(str(tmp_path / f"{number}.wav"))
        wav.save(tmp_path / f"{number}.wav", Sound(ring, RATE_HZ))
    assert cli.main(["measure", *files, "--together", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["sounds"]) == 3
    low, high = sorted(found["shared_partials"], key=lambda p: p["frequency_hz"])
    assert (low["t60_s"], high["t60_s"]) == (pytest.approx(1.0, rel=0.01), pytest.approx(0.7, rel=0.01))
    assert len(low["level_db"]) == 3
    assert cli.main(["measure", *files, "--together"]) == 0
    assert "common to the 3 sounds" in capsys.readouterr().out
    assert cli.main(["measure", files[0], "--together"]) == 2
