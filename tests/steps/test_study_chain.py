"""The chain of a study: calibrator, room, rates, channels and short takes, from the files to the numbers."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.audio import resample, wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.intake import study_check
from listening.metrics import calibration, measures
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from listening.steps import comparisons, study_measures
from listening.stimuli import sources
from tests.stimuli import small_study

RATE_HZ = small_study.RATE_HZ
PASCAL = 20.0  # of full scale, that the calibrator's recording is made for


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return small_study.write(tmp_path)


def _folder(study: Study) -> Path:
    return next(study.root.rglob("recordings.csv")).parent


def _rows(study: Study) -> list[dict[str, str]]:
    with (_folder(study) / "recordings.csv").open() as file:
        return list(csv.DictReader(file))


def _write_rows(study: Study, rows: list[dict[str, str]]) -> None:
    with (_folder(study) / "recordings.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def _sound(study: Study, place: int) -> tuple[Path, Sound]:
    file = _folder(study) / _rows(study)[place]["file"]
    return file, wav.load(file)


def _tone(level_db: float, hz: float, *, off_db: float = 0.0) -> Sound:
    """A calibrator's recording by a chain of PASCAL per full scale, `off_db` more sensitive."""
    peak = np.sqrt(2) * 20e-6 * 10 ** ((level_db + off_db) / 20) / PASCAL
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    noise = 1e-5 * np.random.default_rng(0).standard_normal(len(time_s))
    return Sound(peak * np.sin(2 * np.pi * hz * time_s) + noise, RATE_HZ)


def _calibrated(study: Study, *, level_db: int = 94, hz: float = 1000.0, after_db: float = 0.1) -> None:
    """The study by its calibrator alone."""
    wav.save(_folder(study) / "cal_before.wav", _tone(level_db, hz))
    wav.save(_folder(study) / "cal_after.wav", _tone(level_db, hz, off_db=after_db))
    _write_rows(study, [{k: v for k, v in r.items() if k != "pascal_per_full_scale"} for r in _rows(study)])
    _add(
        study, f'calibrator = {{ before = "cal_before.wav", after = "cal_after.wav", level_db = {level_db} }}'
    )


def _add(study: Study, line: str) -> None:
    text = study.protocol.read_text()
    study.protocol.write_text(text.replace('factors = ["design"]\n', f'factors = ["design"]\n{line}\n', 1))


@pytest.mark.parametrize(("level_db", "hz"), [(94, 1000.0), (114, 250.0)])
def test_the_study_is_calibrated_by_its_calibrator_and_the_drift_is_told(
    study: Study, level_db: int, hz: float, capsys: pytest.CaptureFixture[str]
) -> None:
    _calibrated(study, level_db=level_db, hz=hz, after_db=0.1)
    made = study_measures.run(study, jobs=1)
    assert made.calibrator is not None
    # a chain that reads 0.1 dB more afterwards: the mean in dB is 0.05 dB below the first
    assert made.calibrator.pascal_per_full_scale == pytest.approx(PASCAL * 10 ** (-0.05 / 20), rel=1e-4)
    assert made.calibrator.drift_db == pytest.approx(0.1, abs=1e-3)
    assert made.calibrator.frequency_hz == pytest.approx(hz, rel=1e-4)
    assert all(r.calibrated and r.measures["nmax_sone"] for r in made.recordings)
    _, first = _sound(study, 0)
    own = measures.measure(Sound(first.samples, RATE_HZ, made.calibrator.pascal_per_full_scale))
    assert made.recordings[0].measures["laf_max_db"] == pytest.approx(own.laf_max_db, abs=1e-9)
    assert cli.main(["measure", str(study.root), "--jobs", "1"]) == 0
    assert "drift +0.10 dB" in capsys.readouterr().out
    assert [p for p in study_check.problems(study.protocol) if p.severity == "error"] == []


def test_a_chain_that_drifted_is_refused(study: Study) -> None:
    _calibrated(study, after_db=0.8)
    (problem,) = [p for p in study_check.problems(study.protocol) if p.key == "recordings.calibrator"]
    assert (problem.severity, "+0.80 dB" in problem.found) == ("error", True)
    with pytest.raises(StudyError, match=r"\+0\.80 dB of cal_before"):
        study_measures.run(study, jobs=1)


def test_a_calibrator_that_is_no_tone_is_named(study: Study) -> None:
    _calibrated(study)
    wav.save(_folder(study) / "cal_before.wav", Sound(small_study.ringing(), RATE_HZ))
    (problem,) = [p for p in study_check.problems(study.protocol) if p.key == "recordings.calibrator"]
    assert problem.severity == "error"
    assert "cal_before.wav" in problem.file


def test_a_row_keeps_its_own_calibration(study: Study) -> None:
    _calibrated(study)
    _write_rows(
        study, [r | {"pascal_per_full_scale": "5" if i == 0 else ""} for i, r in enumerate(_rows(study))]
    )
    chosen = study_check.protocol.load(study.protocol)
    found, _ = sources.recorded(chosen, study.protocol)
    assert found[0].pascal_per_full_scale == 5.0
    assert found[1].pascal_per_full_scale == pytest.approx(PASCAL, rel=0.01)


def test_the_room_is_taken_off_exposure_levels(study: Study) -> None:
    """Takes in a room 20 dB below their peak; LAE is as without the room within 0.3 dB, 1 dB off before."""
    clean = [r.measures["lae_db"] for r in study_measures.run(study, jobs=1).recordings]
    rng = np.random.default_rng(3)
    for place in range(len(_rows(study))):
        file, sound = _sound(study, place)
        wav.save(file, Sound(sound.samples[:, 0] + 0.003 * rng.standard_normal(sound.n_samples), RATE_HZ))
    in_room = [r.measures["lae_db"] for r in study_measures.run(study, jobs=1).recordings]
    wav.save(_folder(study) / "room.wav", Sound(0.003 * rng.standard_normal(4 * RATE_HZ), RATE_HZ))
    _add(study, 'background = "room.wav"')
    made = study_measures.run(study, jobs=1)
    assert made.background == "room.wav"
    for wanted, without, row in zip(clean, in_room, made.recordings, strict=True):
        found = row.measures["lae_db"]
        assert wanted is not None
        assert without is not None
        assert found is not None
        if without - wanted > 0.5:
            assert abs(found - wanted) < 0.3
    assert max(b - a for a, b in zip(clean, in_room, strict=True) if a and b) > 0.5


def test_a_strike_is_heard_until_it_sinks_into_the_room(study: Study) -> None:
    _calibrated(study)
    for place in range(len(_rows(study))):
        ring = small_study.ringing(f_hz=1500.0 + place, length_s=3.0, lead_s=0.5)
        wav.save(_sound(study, place)[0], Sound(ring, RATE_HZ))
    alone = {r.metric: r for r in comparisons.compare(study, "a", with_="b").found.rows}["audible_s"]
    room = 0.003 * np.random.default_rng(1).standard_normal(4 * RATE_HZ)
    wav.save(_folder(study) / "room.wav", Sound(room, RATE_HZ))
    _add(study, 'background = "room.wav"')
    over = {r.metric: r for r in comparisons.compare(study, "a", with_="b").found.rows}["audible_s"]
    assert alone.a is not None
    assert over.a is not None
    assert over.a < 0.8 * alone.a


def test_another_rate_is_resampled_and_said(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    before = study_measures.run(study, jobs=1)
    file, sound = _sound(study, 2)
    wav.save(file, resample.to_rate(sound, 44_100))
    made = study_measures.run(study, jobs=1)
    assert [("resampled" in r.flags) for r in made.recordings] == [False, False, True, False]
    for name in ("laf_max_db", "centroid_hz", "t60_s"):
        assert made.recordings[2].measures[name] == pytest.approx(
            before.recordings[2].measures[name], rel=2e-3
        )
    (caution,) = [p for p in study_check.problems(study.protocol) if "rate" in p.found]
    assert (caution.severity, "soxr" in caution.wanted) == ("caution", True)
    assert cli.main(["measure", str(study.root), "--jobs", "1"]) == 0
    assert "1 recordings of another rate were resampled" in capsys.readouterr().out
    assert cli.main(["prepare", str(study.root)]) == 0


def test_average_takes_levels_by_energy_and_times_by_their_mean(study: Study) -> None:
    """Two positions, the second with half the pressure: 10 lg((1 + 1/4) / 2) = -2.04 dB of the first."""
    one = study_measures.run(study, jobs=1)
    for place in range(len(_rows(study))):
        file, sound = _sound(study, place)
        wav.save(file, Sound(np.hstack([sound.samples, 0.5 * sound.samples]), RATE_HZ))
    _write_rows(study, [r | {"channel": "average"} for r in _rows(study)])
    made = study_measures.run(study, jobs=1)
    assert [r.channel for r in made.recordings] == ["average"] * 4
    for before, after in zip(one.recordings, made.recordings, strict=True):
        for name in ("laf_max_db", "lae_db", "lc_peak_db"):
            gap = (after.measures[name] or 0.0) - (before.measures[name] or 0.0)
            assert gap == pytest.approx(10 * np.log10(1.25 / 2), abs=1e-3)
        assert after.measures["centroid_hz"] == pytest.approx(before.measures["centroid_hz"], rel=1e-4)
    assert Measures.load(study.measures) == made
    assert [p for p in study_check.problems(study.protocol) if p.severity == "error"] == []
    level = {r.metric: r for r in comparisons.compare(study, "a", with_="b").found.rows}["laf_max_db"]
    mean = np.mean([r.measures["laf_max_db"] for r in made.recordings[:2]])
    assert level.a == pytest.approx(mean, abs=1e-6)


def test_a_short_take_that_has_rung_out_gets_silence(study: Study) -> None:
    """0.65 s after the strike of a T60 of 0.3 s, in a window of 0.8 s; one that rings still is refused."""
    file, _ = _sound(study, 0)
    short = small_study.ringing(t60_s=0.3)[: round(0.75 * RATE_HZ)]
    wav.save(file, Sound(short, RATE_HZ))
    found = [p for p in study_check.problems(study.protocol) if p.key == _rows(study)[0]["recording"]]
    assert [(p.severity, "silence will be put behind" in p.wanted) for p in found] == [("caution", True)]
    assert cli.main(["prepare", str(study.root), "--json"]) == 0
    manifest = json.loads(study.manifest.read_text())
    made = next(s for s in manifest["stimuli"] if s["recording"] == _rows(study)[0]["recording"])
    stimulus = wav.load(study.manifest.parent / made["file"])
    assert stimulus.duration_s == pytest.approx(0.8)
    assert not stimulus.samples[round(0.72 * RATE_HZ) :].any()
    whole = measures.measure(Sound(small_study.ringing(t60_s=0.3), RATE_HZ))
    assert made["before"]["t30_s"] == pytest.approx(whole.t30_s, rel=0.01)
    wav.save(file, Sound(small_study.ringing(t60_s=2.0)[: round(0.75 * RATE_HZ)], RATE_HZ))
    (problem,) = [p for p in study_check.problems(study.protocol) if p.severity == "error"]
    assert "longer recording" in problem.wanted


def test_check_tells_offset_and_hum_as_measure_does(study: Study) -> None:
    file, sound = _sound(study, 1)
    hum = 2e-4 * np.sin(2 * np.pi * 50 * np.arange(sound.n_samples) / RATE_HZ)
    wav.save(file, Sound(sound.samples[:, 0] + 0.002 + hum, RATE_HZ))
    said = " ".join(p.found for p in study_check.problems(study.protocol))
    assert "constant offset" in said
    flags = study_measures.run(study, jobs=1).recordings[1].flags
    assert "dc" in flags
    assert ("mains hum" in said) == ("hum" in flags)


def test_float_samples_above_full_scale_are_no_clipping(study: Study) -> None:
    file, sound = _sound(study, 3)
    loud = sound.samples * (2.5 / np.abs(sound.samples).max())
    soundfile.write(file.with_suffix(".wav"), loud, RATE_HZ, subtype="FLOAT")
    rows = _rows(study)
    rows[3]["file"] = file.with_suffix(".wav").name
    _write_rows(study, rows)
    assert not [p for p in study_check.problems(study.protocol) if "clipped" in p.found]
    soundfile.write(file.with_suffix(".wav"), np.clip(loud, -1.2, 1.2), RATE_HZ, subtype="FLOAT")
    assert [p for p in study_check.problems(study.protocol) if "clipped" in p.found]


def test_drift_is_the_sensitivity_after_less_before() -> None:
    found = calibration.of_study(_tone(94, 1000.0), _tone(94, 1000.0, off_db=-0.3), level_db=94)
    assert found.drift_db == pytest.approx(-0.3, abs=1e-3)
    assert not found.has_drifted
