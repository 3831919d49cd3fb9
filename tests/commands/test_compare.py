"""`listening compare`: the printed tables, the words and the JSON contract."""

import json
from pathlib import Path

import numpy as np
import pytest

from listening import cli
from listening.audio import wav
from listening.audio.sound import Sound
from listening.records.found.comparison import ComparedRow, Comparison
from listening.report.sentences import sayings
from tests.metrics.signals import DEMO, strike

ROW = {"metric", "unit", "a", "b", "difference", "ratio", "lower", "upper", "strikes_a", "strikes_b",
       "inside_repeatability"}  # fmt: skip
PARTIAL = {"a_hz", "b_hz", "level_db", "t60_a_s", "t60_b_s", "t60_ratio", "lower", "upper", "known"}


def _demo(design: str, support: str) -> list[str]:
    return [str(DEMO / f"{design}-{support}-{i}.flac") for i in (1, 2, 3)]


def _run(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert cli.main(["compare", *words]) == 0
    return capsys.readouterr().out


def test_json_holds_the_contract_and_the_truth_of_the_demo(capsys: pytest.CaptureFixture[str]) -> None:
    words = [*_demo("dome_c", "free"), "--with", *_demo("dome_c", "handlebar"), "--names", "free,handlebar"]
    found = json.loads(_run(capsys, *words, "--pascal-per-full-scale", "5", "--json"))
    assert (found["a"], found["b"]) == ("free", "handlebar")
    assert all(set(row) >= ROW for row in found["rows"])
    assert all(set(p) >= PARTIAL for p in found["partials"])
    # the script of the demo: T60 of the lowest mode times 0.55, less by the mode's ratio to the power -0.12
    wanted = [0.55 * mode**-0.12 for mode in (1, 1.93, 2.62, 3.58, 4.71, 7.25, 10.1)]
    assert [p["t60_ratio"] for p in found["partials"]] == pytest.approx(wanted, rel=0.003)
    assert [p["shift_hz"] for p in found["partials"]] == pytest.approx([0.0] * 7, abs=0.01)
    # limits of 95 %: with a chance of 1 in 22 two of seven or more miss
    within = [p["lower"] <= w <= p["upper"] for p, w in zip(found["partials"], wanted, strict=True)]
    assert sum(within) >= 6
    lost = next(r for r in found["rows"] if r["metric"] == "energy_lost_db")
    # level × 0.56 is 5.0 dB, T60 × 0.55 another 2.6, the tilt takes more from the highs
    assert lost["lower"] <= 7.6 <= lost["upper"]


def test_the_text_fits_80_columns_and_takes_the_words_apart(capsys: pytest.CaptureFixture[str]) -> None:
    text = _run(capsys, *_demo("dome_a", "free"), "--with", *_demo("dome_a", "handlebar"))
    assert max(map(len, text.splitlines())) <= 80
    assert "40 % of the energy" in text
    assert "cannot be said" in text  # no calibration, no sone


def test_mixed_rates_are_converted_and_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, rate_hz in (("a", 48000), ("b", 44100)):
        samples = strike((1000.0,), (0.5,), (0.2,), duration_s=1.0, rate_hz=rate_hz, noise_rms=1e-5)
        wav.save(tmp_path / f"{name}.wav", Sound(samples, rate_hz))
    text = _run(capsys, str(tmp_path / "a.wav"), "--with", str(tmp_path / "b.wav"))
    assert (
        "a.wav: 48000 Hz, converted to 44100 Hz" in text or "b.wav: 44100 Hz, converted to 48000 Hz" in text
    )


def test_all_sounds_give_the_same_channel_and_it_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = strike((1000.0,), (0.5,), (0.2,), duration_s=1.0, noise_rms=1e-5)
    other = strike((2000.0,), (0.5,), (0.3,), duration_s=1.0, noise_rms=1e-5)
    for name, channels in (("a", (one, other)), ("b", (one, other)), ("c", (2 * one, other))):
        wav.save(tmp_path / f"{name}.wav", Sound(np.column_stack(channels), 48000))
    files = [str(tmp_path / f"{n}.wav") for n in "abc"]
    found = json.loads(_run(capsys, *files[:2], "--with", files[2], "--json"))
    assert found["partials"][0]["a_hz"] == pytest.approx(2000.0, abs=0.1)
    assert "channel 2 of all sounds" in found["notes"][0]
    found = json.loads(_run(capsys, *files[:2], "--with", files[2], "--json", "--channel", "1"))
    assert found["partials"][0]["level_db"] == pytest.approx(6.02, abs=0.05)


def _strikes(folder: Path, name: str, peaks: tuple[float, float]) -> list[str]:
    """Three strikes of two tones, a tenth of a decibel apart."""
    files = []
    for i in range(3):
        level = 10 ** (0.1 * i / 20)
        samples = strike(
            (800.0, 5000.0), (0.4, 0.3), [level * p for p in peaks], duration_s=0.8, noise_rms=1e-5, seed=i
        )
        wav.save(folder / f"{name}{i}.wav", Sound(samples, 48_000))
        files.append(str(folder / f"{name}{i}.wav"))
    return files


def test_a_difference_is_followed_to_another_support(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """There everything is 6 dB softer, and the second loses its highs: level alone keeps its difference."""
    sides = [
        _strikes(tmp_path, name, peaks)
        for name, peaks in {"c": (0.2, 0.02), "d": (0.2, 0.1), "cc": (0.1, 0.01), "dd": (0.112, 0.01)}.items()
    ]
    words = [*sides[0], "--with", *sides[1], "--names", "C,D", "--elsewhere", *sides[2], "--elsewhere-with"]
    text = _run(capsys, *words, *sides[3])
    assert max(map(len, text.splitlines())) <= 80
    told = " ".join(text.split())
    assert "The difference in level (LAFmax) stays, as far as strikes tell: +1.0 dB here" in told
    assert "The difference in brightness (spectral centroid) changes: " in told
    found = json.loads(_run(capsys, *words, *sides[3], "--json"))
    centroid = next(s for s in found["elsewhere"] if s["metric"] == "centroid_hz")
    assert centroid["change"] == pytest.approx(centroid["there"] - centroid["here"])
    assert centroid["upper"] < 0
    assert cli.main(["compare", *words[:-1]]) == 2  # the second of the two elsewhere is missing
    assert "strikes of both wanted" in capsys.readouterr().err


def test_wrong_names_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["compare", *_demo("dome_a", "free"), "--with", *_demo("dome_b", "free"), "--names", "free"]
    assert cli.main(words) == 2
    assert "wanted two different names" in capsys.readouterr().err


def test_three_times_louder_is_three_numbers() -> None:
    """10 lg 3 = 4.77, 20 lg 3 = 9.54 dB; 10 phon a doubling (ISO 532-1:2017, 5.8): 10 log2 3 = 15.85 phon."""

    def row(metric: str, difference: float) -> ComparedRow:
        return ComparedRow(
            metric=metric, unit="", a=30.0, b=10.0, difference=difference, ratio=None, lower=None, upper=None,
            strikes_a=3, strikes_b=3, inside_repeatability=None,
        )  # fmt: skip

    found = Comparison(
        a="free", b="held", calibrated=True, length_s=1.0, above_db=60.0, background=True, not_known={},
        partials=(), bands=(),
        rows=(row("energy_lost_db", 10.0), row("nmax_sone", -20.0), row("loudness_level_phon", -15.9)),
    )  # fmt: skip
    text = " ".join(sayings.of_comparison(found))
    for wanted in (
        "15.8 phon",
        "9.5 dB as pressure",
        "4.8 dB as energy",
        "enough for loudness",
        "3.00 times as loud",
    ):
        assert wanted in text
    for wanted in (
        "90 % of the energy",
        "68 % of the sound pressure",
        "2.2 dB if so much is lost",
        "4.0 dB if so",
    ):
        assert wanted in text
