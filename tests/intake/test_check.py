"""check: every problem at once, each with its place, what was found, what was wanted."""

import csv
import json
import shutil
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.audio.sound import Sound
from listening.intake import recording_faults, study_check
from listening.metrics.striking import flags
from listening.records.forms.problem import Problem, listing

ROOT = Path(__file__).resolve().parents[2]
PROTOCOL = """
format = 1
name = "two"
title = "Two bells"
seed = 1
[recordings]
folder = "bells"
table = "recordings.csv"
factors = ["design", "support"]
use = { support = ["free"] }
[panel]
stands_for = "nobody: this is a test"
training = "naive"
listeners = 24
[[presentations]]
name = "matched"
metric = "laf_max_db"
[trimming]
fade_in_s = 0.01
[[attributes]]
name = "brightness"
wording = "Which is brighter?"
comparative = "brighter"
examples = { more = "example_bright.flac", less = "example_dull.flac" }
[[attributes]]
name = "loudness"
wording = "Which is louder?"
comparative = "louder"
about_level = true
examples = { more = "example_loud.flac", less = "example_soft.flac" }
[[blocks]]
attribute = "brightness"
presentation = "matched"
repeats = 2
[[blocks]]
attribute = "loudness"
presentation = "matched"
pairs = "planned"
[[controls]]
attribute = "brightness"
gains_db = [3.0]
[[controls]]
attribute = "loudness"
gains_db = [1.0]
[sitting]
welcome = "Hello"
consent = "I agree"
[labels]
"dome_a/free" = "dome A"
[[questions]]
id = "one"
kind = "more"
attribute = "brightness"
presentation = "matched"
contrast = { more = "dome_b/free", than = "dome_a/free" }
smallest_effect = 0.6
[[questions]]
id = "two"
kind = "same"
attribute = "loudness"
presentation = "matched"
contrast = { more = "dome_b/free", than = "dome_a/free" }
smallest_effect = 0.7
"""
KEPT = [f"dome_{d}-free-{s}" for d in "ab" for s in (1, 2, 3)]
RATE_HZ = 48_000


@pytest.fixture
def study(tmp_path: Path) -> Path:
    """A protocol over two designs, beside a folder with their recordings."""
    folder = tmp_path / "bells"
    folder.mkdir()
    with (ROOT / "stimuli_demo" / "recordings.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if row["recording"] in KEPT]
    _write_table(folder, rows)
    for file_name in [row["file"] for row in rows] + [p.name for p in ROOT.glob("stimuli_demo/example_*")]:
        shutil.copy(ROOT / "stimuli_demo" / file_name, folder)
    path = tmp_path / "protocol.toml"
    path.write_text(PROTOCOL)
    return path


def _write_table(folder: Path, rows: list[dict[str, str]]) -> None:
    with (folder / "recordings.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def _rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "recordings.csv").open() as file:
        return list(csv.DictReader(file))


def _only(found: list[Problem], severity: str = "error") -> Problem:
    chosen = [p for p in found if p.severity == severity]
    assert len(chosen) == 1, listing(found)
    return chosen[0]


def _write(file: Path, samples: np.ndarray, rate_hz: int = RATE_HZ, subtype: str = "PCM_24") -> None:
    soundfile.write(file, samples, rate_hz, subtype=subtype)


def test_a_good_study_has_no_problem(study: Path) -> None:
    assert listing(study_check.problems(study)) == ""


def test_every_shipped_protocol_is_free_of_errors(monkeypatch: pytest.MonkeyPatch) -> None:
    listen = cache(recording_faults._listen)  # many protocols, the same recordings
    monkeypatch.setattr(recording_faults, "_listen", lambda file, name, example: listen(file, "", example))
    for path in (ROOT / "protocols").glob("*.toml"):
        assert [p.text() for p in study_check.problems(path) if p.severity == "error"] == []


def _nan(samples: np.ndarray) -> np.ndarray:
    samples[7000] = np.nan
    return samples


def _clipped(samples: np.ndarray) -> np.ndarray:
    return np.clip(samples * 8, -1, 1)


SOUND_FAULTS: dict[str, tuple[Callable[[Path], object], str, str]] = {
    "missing": (lambda f: f.unlink(), "no such file", "whole WAV or FLAC"),
    "empty": (lambda f: f.write_bytes(b""), "0 bytes", "whole WAV or FLAC"),
    "truncated": (lambda f: f.write_bytes(f.read_bytes()[:40_000]), "", "whole WAV or FLAC"),
    "no sound file": (lambda f: f.write_text("hello"), "cannot be decoded", "whole WAV or FLAC"),
    "silent": (lambda f: _write(f, np.zeros(RATE_HZ * 3)), "every sample is zero", "a recorded strike"),
    "clipped": (lambda f: _write(f, _clipped(soundfile.read(f)[0])), "clipped", "less gain"),
    "too weak": (lambda f: _write(f, soundfile.read(f)[0] * 3e-5), "as good as silence", "more gain"),
    "too short": (
        lambda f: _write(f, soundfile.read(f)[0][:30_000]),
        "from the strike to its end",
        "length_s at most 0.",
    ),
    "stereo": (
        lambda f: _write(f, np.tile(soundfile.read(f)[0][:, None], 2)),
        "channels of 2",
        "1 as in 9 others",
    ),
}


@pytest.mark.parametrize("fault", SOUND_FAULTS)
def test_a_bad_sound_is_named_with_what_was_found_and_wanted(study: Path, fault: str) -> None:
    spoil, found, wanted = SOUND_FAULTS[fault]
    file = study.parent / "bells" / "dome_b-free-2.flac"
    spoil(file)
    problem = _only(study_check.problems(study))
    assert (Path(problem.file), problem.key) == (file, "dome_b-free-2")
    assert found in problem.found
    assert wanted in problem.wanted


def test_another_rate_is_a_caution_that_says_what_will_be_done(study: Path) -> None:
    file = study.parent / "bells" / "dome_b-free-2.flac"
    _write(file, soundfile.read(file)[0], 44_100)
    problem = next(p for p in study_check.problems(study) if "44100 Hz" in p.found)
    assert problem.severity == "caution"
    assert problem.wanted == "48000 Hz as in 9 others: it will be resampled (soxr)"


def test_a_sound_with_nan_is_refused(study: Path) -> None:
    folder = study.parent / "bells"
    rows = _rows(folder)
    _write(folder / "nan.wav", _nan(soundfile.read(folder / rows[0]["file"])[0]), subtype="DOUBLE")
    rows[0]["file"] = "nan.wav"
    _write_table(folder, rows)
    assert "sample 7000" in _only(study_check.problems(study)).found


def test_two_recordings_with_the_same_samples_are_found(study: Path) -> None:
    folder = study.parent / "bells"
    shutil.copy(folder / "dome_a-free-1.flac", folder / "dome_a-free-3.flac")
    problem = _only(study_check.problems(study))
    assert problem.key == "dome_a-free-3"
    assert "dome_a-free-1" in problem.found


def test_a_twice_used_id_is_found(study: Path) -> None:
    folder = study.parent / "bells"
    rows = _rows(folder)
    rows[3]["recording"] = rows[0]["recording"]
    _write_table(folder, rows)
    assert "`dome_a-free-1` twice" in _only(study_check.problems(study)).found


def test_calibrated_and_uncalibrated_recordings_do_not_mix(study: Path) -> None:
    folder = study.parent / "bells"
    rows = _rows(folder)
    rows[4]["pascal_per_full_scale"] = ""
    _write_table(folder, rows)
    problem = _only(study_check.problems(study))
    assert "5 calibrated recordings and 1 not, such as `dome_b-free-2`" in problem.found


def test_a_loudness_match_needs_calibration(study: Path) -> None:
    folder = study.parent / "bells"
    _write_table(folder, [row | {"pascal_per_full_scale": ""} for row in _rows(folder)])
    study.write_text(study.read_text().replace('metric = "laf_max_db"', 'metric = "nmax_sone"'))
    assert "laf_max_db" in _only(study_check.problems(study)).wanted


def test_two_strikes_are_a_caution_and_no_error(study: Path) -> None:
    folder = study.parent / "bells"
    _write_table(folder, [row for row in _rows(folder) if row["recording"] != "dome_a-free-2"])
    problem = _only(study_check.problems(study), "caution")
    assert problem.found == "2 of `dome_a/free`"


PROTOCOL_FAULTS = {
    "superlative": (
        "[[questions]]",
        '[[superlatives]]\nid = "s"\nattribute = "brightness"\npresentation = "matched"\n'
        'condition = "dome_q/free"\nsmallest_effect = 0.6\n[[questions]]',
        "one of dome_a/free, dome_b/free",
    ),
    "superlative with looks": (
        "[[questions]]",
        '[stopping]\nlooks = [10]\nspending = "Pocock"\n[[superlatives]]\nid = "s"\n'
        'attribute = "brightness"\n'
        'presentation = "matched"\ncondition = "dome_b/free"\nsmallest_effect = 0.6\n[[questions]]',
        "decided at the planned end alone",
    ),
    "contrast": ('more = "dome_b/free"', 'more = "dome_b/fre"', "did you mean `dome_b/free`"),
    "level": (
        'use = { support = ["free"] }',
        'use = { support = ["free", "hand"] }',
        "a level that the table has",
    ),
    "factor": ('use = { support = ["free"] }', 'use = { suport = ["free"] }', "did you mean `support`"),
    "fade": ("fade_in_s = 0.01", "fade_in_s = 0.2", "touches the strike"),
    "anchor": ("example_bright.flac", "anchor_brite.flac", "whole WAV or FLAC"),
    "unknown key": ("repeats = 2", "repeat = 2", "did you mean `repeats`"),
    "response": ("[sitting]", '[playback]\nresponse = "ear.csv"\n[sitting]', "a measured response"),
    "isolation": (
        "[sitting]",
        '[isolation]\nbase = "dome_x/free"\ndecay_ratio = 1.5\n[sitting]',
        "a presentation named `isolated` go together",
    ),
    "table": ("recordings.csv", "recording.csv", "the table"),
}


@pytest.mark.parametrize("fault", PROTOCOL_FAULTS)
def test_a_protocol_that_does_not_fit_is_told_so(study: Path, fault: str) -> None:
    right, wrong, wanted = PROTOCOL_FAULTS[fault]
    text = study.read_text()
    assert right in text
    study.write_text(text.replace(right, wrong, 1))
    errors = [p for p in study_check.problems(study) if p.severity == "error"]
    assert errors
    assert any(wanted in p.wanted for p in errors), listing(errors)


def test_problems_of_protocol_table_and_sounds_come_together(study: Path) -> None:
    study.write_text(study.read_text().replace("repeats = 2", "repeat = 2", 1))
    folder = study.parent / "bells"
    (folder / "dome_a-free-1.flac").write_bytes(b"")
    rows = _rows(folder)
    rows[5]["pascal_per_full_scale"] = "loud"
    _write_table(folder, rows)
    text = listing(study_check.problems(study))
    assert "unknown key" in text
    assert "0 bytes" in text
    assert "positive number of pascal" in text


def test_fewer_than_eight_listeners_and_missing_controls_are_cautions(study: Path) -> None:
    head, tail = study.read_text().split("[[controls]]", 1)
    text = (head + "[sitting]" + tail.split("[sitting]")[1]).replace("listeners = 24", "listeners = 7")
    study.write_text(text)
    found = study_check.problems(study)
    assert {p.severity for p in found} == {"caution"}
    assert any("no verdict" in p.wanted for p in found)
    assert sum("decibel alone" in p.wanted for p in found) == 2


@pytest.mark.parametrize(("pattern", "runs"), [("0110", 0), ("1110111", 2), ("111111", 1), ("11", 0)])
def test_runs_are_counted_by_hand(pattern: str, runs: int) -> None:
    sound = Sound(np.array([[float(sign)] for sign in pattern]), 48_000)
    assert flags.runs(sound, lambda sizes: (sizes > 0.5).all(axis=1), 3) == runs


def test_the_command_exits_2_on_errors_and_0_on_cautions(
    study: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    study.write_text(study.read_text().replace("listeners = 24", "listeners = 7"))
    assert cli.main(["check", str(study.parent), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["errors"] == 0
    assert "panel.listeners" in {p["key"] for p in told["problems"]}
    (study.parent / "bells" / "dome_a-free-1.flac").unlink()
    assert cli.main(["check", str(study.parent)]) == 2
    assert "dome_a-free-1.flac" in capsys.readouterr().out
