"""Which channel of a recording is measured: the table says it, every row shows it, `check` asks for it."""

import csv
from pathlib import Path

import numpy as np
import pytest

from listening.audio import wav
from listening.audio.sound import Sound
from listening.intake import study_check
from listening.records.sounds.measured import Measures
from listening.records.study import Study
from listening.steps import study_measures
from tests.metrics.signals import RATE_HZ, strike
from tests.stimuli import small_study


@pytest.fixture
def study(tmp_path: Path) -> Study:
    """Two channels each: 1 kHz left, 3 kHz right; in the last recording the left is louder."""
    made = small_study.write(tmp_path)
    rows = _rows(made)
    for number, row in enumerate(rows):
        left, right = (
            strike((hz,), (0.6,), (peak,), duration_s=2.0, noise_rms=1e-5, lead_s=0.3, seed=number + seed)
            for hz, peak, seed in ((1000.0, 0.3 if number == 3 else 0.1, 0), (3000.0, 0.2, 10))
        )
        file = small_table(made).parent / row["file"]
        wav.save(file, Sound(np.column_stack([left, right]), RATE_HZ))
    return made


def small_table(study: Study) -> Path:
    return next(study.root.rglob("recordings.csv"))


def _rows(study: Study) -> list[dict[str, str]]:
    with small_table(study).open() as file:
        return list(csv.DictReader(file))


def _choose(study: Study, channel: str) -> None:
    rows = [{**row, "channel": channel} for row in _rows(study)]
    with small_table(study).open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)


def test_without_a_choice_each_row_says_which_and_check_asks_for_one(study: Study) -> None:
    made = study_measures.run(study, jobs=1)
    assert [r.channel for r in made.recordings] == [2, 2, 2, 1]
    centroids = [r.measures["centroid_hz"] for r in made.recordings]
    assert max(centroids) > 2.5 * min(centroids)  # two bells, it seems; it is one
    (caution,) = [p for p in study_check.problems(study.protocol) if "loudest" in p.found]
    assert (caution.severity, "a column `channel`" in caution.wanted) == ("caution", True)
    with study.measures.with_suffix(".csv").open() as file:
        assert [row["channel"] for row in csv.DictReader(file)] == ["2", "2", "2", "1"]


def test_the_chosen_channel_is_measured_in_all(study: Study) -> None:
    _choose(study, "1")
    study_measures.run(study, jobs=1)
    found = Measures.load(study.measures).recordings
    assert [r.channel for r in found] == [1, 1, 1, 1]
    assert [r.measures["centroid_hz"] for r in found] == pytest.approx([1000.0] * 4, rel=0.02)
    assert not [p for p in study_check.problems(study.protocol) if "loudest" in p.found]


@pytest.mark.parametrize(("channel", "says"), [("3", "channel 3 of 2"), ("0", "'0'"), ("left", "'left'")])
def test_a_channel_that_is_not_there_is_an_error(study: Study, channel: str, says: str) -> None:
    _choose(study, channel)
    assert any(says in p.found and p.severity == "error" for p in study_check.problems(study.protocol))
