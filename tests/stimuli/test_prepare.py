"""prepare: matched, verified, the same bytes every time, and refusals with numbers and the way out."""

import csv
import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.audio import wav
from listening.errors import StudyError
from listening.metrics import level
from listening.metrics.loud import loudness_bs1770
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.stimuli import preparation, residuals
from tests.stimuli.conftest import Maker
from tests.stimuli.small_study import SOUNDS, ringing

Plain = tuple[Study, Manifest]


def _bytes(study: Study) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in sorted(study.stimuli.iterdir())}


def _matched(manifest: Manifest) -> dict[str, float]:
    return {s.recording: s.gain_db for s in manifest.stimuli if s.presentation == "matched"}


def test_the_written_files_are_matched_when_measured_anew(plain: Plain) -> None:
    study, manifest = plain
    levels = []
    for stimulus in manifest.stimuli:
        sound = wav.load(study.stimuli / stimulus.file, manifest.pascal_per_full_scale)
        assert wav.digest(sound.samples) == stimulus.digest
        assert level.laf_max_db(sound) == pytest.approx(stimulus.after["laf_max_db"], abs=1e-9)
        if stimulus.presentation == "matched":
            levels.append(level.laf_max_db(sound))
            assert stimulus.residual_db == pytest.approx(levels[-1] - (manifest.target or 0), abs=1e-9)
    assert len(levels) == 4
    assert max(levels) - min(levels) < 0.1
    assert manifest.matching_label == "level-based (LAFmax)"


def test_as_recorded_keeps_every_level_difference(plain: Plain) -> None:
    _, manifest = plain
    kept = [s for s in manifest.stimuli if s.presentation == "as recorded"]
    assert {s.gain_db for s in kept} == {manifest.headroom_offset_db}
    for s in kept:
        # 24 bit move LAFmax by less than a step over the weakest peak, some 1e-4 dB
        assert s.after["laf_max_db"] == pytest.approx(s.before["laf_max_db"], abs=1e-3)


def test_a_gain_put_in_comes_back_out(plain: Plain, make_study: Maker) -> None:
    without = _matched(plain[1])
    louder = {n: (d, s * 10 ** (0.2 if n == "b2" else 0)) for n, (d, s) in SOUNDS.items()}  # b2: 4 dB up
    manifest = preparation.run(make_study(louder))
    change = {n: g - without[n] for n, g in _matched(manifest).items()}
    assert change["b2"] - change["a1"] == pytest.approx(-4.0, abs=0.01)  # a twentieth of the tolerance, twice
    assert change["b1"] - change["a1"] == pytest.approx(0.0, abs=0.01)


def test_two_calibrations_of_one_sound_pressure_are_one(plain: Plain, make_study: Maker) -> None:
    halved = {n: (d, s / 2 if n == "b2" else s) for n, (d, s) in SOUNDS.items()}
    other = preparation.run(make_study(halved, pascal={"b2": 10.0}))
    for a, b in zip(plain[1].stimuli, other.stimuli, strict=True):
        assert a.after["laf_max_db"] == pytest.approx(b.after["laf_max_db"], abs=1e-3)


def test_preparing_twice_gives_the_same_bytes_and_parallel_the_same_as_serial(
    plain: Plain, make_study: Maker
) -> None:
    study = make_study()
    steps: list[tuple[int, int]] = []
    preparation.run(study, jobs=2, on_progress=lambda done, total: steps.append((done, total)))
    assert steps == [(n, 16) for n in range(1, 17)]  # 4 measured, 4 matched, 8 written
    assert _bytes(study) == _bytes(plain[0])


def test_matching_a_matched_set_changes_nothing(plain: Plain, make_study: Maker) -> None:
    study, manifest = plain
    again = {
        s.recording: (SOUNDS[s.recording][0], soundfile.read(study.stimuli / s.file)[0])
        for s in manifest.stimuli
        if s.presentation == "matched"
    }
    longer = {n: (d, np.concatenate([s, np.zeros(100)])) for n, (d, s) in again.items()}
    second = preparation.run(make_study(longer, pascal=manifest.pascal_per_full_scale))
    assert all(abs(g) <= 0.1 for g in _matched(second).values())


def test_one_offset_keeps_every_true_peak_under_the_ceiling(make_study: Maker) -> None:
    strong = {n: (d, s * 20) for n, (d, s) in SOUNDS.items() if n != "b2"} | {"b2": ("b", ringing() * 20)}
    study = make_study(strong)
    manifest = preparation.run(study)
    peaks = [loudness_bs1770.true_peak_dbtp(wav.load(study.stimuli / s.file)) for s in manifest.stimuli]
    assert manifest.headroom_offset_db < 0
    assert -1.02 < max(peaks) <= -1.0  # the offset is rounded down to 0.01 dB
    for s in manifest.stimuli:  # played louder by as much, the sound pressure is what it was
        if s.presentation == "as recorded":
            assert s.after["laf_max_db"] == pytest.approx(s.before["laf_max_db"], abs=1e-3)


def test_a_fixed_offset_that_lets_a_stimulus_clip_is_refused_and_the_named_one_works(
    make_study: Maker,
) -> None:
    strong = {n: (d, s * 12) for n, (d, s) in SOUNDS.items()}
    fixed = "fade_out_s = 0.1\nheadroom_offset_db = -0.1"
    study = make_study(strong, change=("fade_out_s = 0.1", fixed))
    with pytest.raises(
        StudyError, match=r"b2\.wav: .*dBTP, ceiling -1\.00; set trimming\.headroom_offset_db"
    ) as told:
        preparation.run(study)
    assert not study.stimuli.exists()
    named = str(told.value).split("headroom_offset_db to ")[1].split(" ")[0]
    works = fixed.replace("-0.1", named)
    assert preparation.run(
        make_study(strong, change=("fade_out_s = 0.1", works), folder="works")
    ).headroom_offset_db == float(named)


def test_a_sound_too_far_from_the_others_is_refused(make_study: Maker) -> None:
    weak = {n: (d, s * (0.01 if n == "a2" else 1)) for n, (d, s) in SOUNDS.items()}
    with pytest.raises(StudyError, match=r"a2\.wav: \+4\d\.\d dB would be needed.*at most 30 dB"):
        preparation.run(make_study(weak))


def test_mixed_calibration_is_refused(make_study: Maker) -> None:
    study = make_study()
    table = study.root / "sounds" / "recordings.csv"
    table.write_text(table.read_text().replace("b2.wav,b,2,5.0", "b2.wav,b,2,"))
    with pytest.raises(StudyError, match="3 are calibrated and 1 are not"):
        preparation.run(study)


def test_uncalibrated_recordings_are_matched_in_decibel_full_scale(make_study: Maker) -> None:
    manifest = preparation.run(make_study(pascal=None))
    assert not manifest.calibrated
    assert manifest.pascal_per_full_scale is None
    assert manifest.target is not None
    assert manifest.target < 0
    assert max(abs(s.residual_db or 0) for s in manifest.stimuli) < 0.1


@pytest.mark.parametrize("metric", ["lae_db", "momentary_max_lufs", "integrated_lufs", "true_peak_dbtp"])
def test_every_level_metric_can_be_matched(make_study: Maker, metric: str) -> None:
    study = make_study(change=('"laf_max_db"', f'"{metric}"'))
    manifest = preparation.run(study)
    after = [s.after[metric] or 0 for s in manifest.stimuli if s.presentation == "matched"]
    assert max(after) - min(after) < 0.1
    assert manifest.target == pytest.approx(np.mean(after), abs=0.1)


def test_what_the_match_leaves_open_is_told_for_every_metric(plain: Plain) -> None:
    spreads = {(s.presentation, s.metric): s.spread for s in residuals.spreads(plain[1])}
    assert spreads["matched", "laf_max_db"] < 0.1
    assert spreads["as recorded", "laf_max_db"] == pytest.approx(7.0, abs=0.5)  # gains of 0, 1, 6, 7 dB
    assert spreads["as recorded", "centroid_hz"] == pytest.approx(spreads["matched", "centroid_hz"], rel=1e-3)


def test_the_command_prints_the_table_and_refuses_a_faulty_study(
    make_study: Maker, capsys: pytest.CaptureFixture[str]
) -> None:
    study = make_study()
    assert cli.main(["prepare", str(study.root), "--jobs", "1", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["stimuli"] == 8
    before = _bytes(study)
    (study.root / "sounds" / "a1.wav").unlink()
    assert cli.main(["prepare", str(study.root), "--jobs", "1"]) == 2
    assert "a1.wav: a1: found no such file" in capsys.readouterr().err
    assert _bytes(study) == before


BELLS = Path("/usr/share/sonic-pi/samples")


@pytest.mark.skipif(
    not BELLS.is_dir(), reason="sonic-pi-samples is missing: sudo apt-get install sonic-pi-samples"
)
def test_real_recordings_go_through(make_study: Maker, tmp_path: Path) -> None:
    study = make_study(pascal=None)
    table = study.root / "sounds" / "recordings.csv"
    with table.open("w", newline="") as file:
        rows = csv.writer(file)
        rows.writerow(("recording", "file", "design", "strike"))
        for design, name in (("a", "perc_bell"), ("a", "perc_bell2"), ("b", "perc_till")):
            shutil.copy(BELLS / f"{name}.flac", table.parent)
            rows.writerow((name, f"{name}.flac", design, name))
    manifest = preparation.run(study)
    assert max(abs(s.residual_db or 0) for s in manifest.stimuli) < 0.1


def test_processes_that_started_in_another_folder_work_from_this_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from listening.stimuli.work import Work

    for name in ("first", "second"):  # the processes of the first are kept for the second
        (tmp_path / name).mkdir()
        (tmp_path / name / "own.txt").write_text(name)
        monkeypatch.chdir(tmp_path / name)
        assert Work(2, None, total=2).each(Path.read_text, [Path("own.txt")] * 2) == [name] * 2
