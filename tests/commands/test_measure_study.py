"""`listening measure FOLDER`: numbers, spread over strikes and units, curves for the figures."""

from pathlib import Path

import numpy as np
import pytest

from listening.records.sounds.measured import MeasuredRecording, Measures
from listening.records.study import Study
from listening.steps import study_measures as measure_study
from tests.stimuli import small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    made = small_study.write(tmp_path_factory.mktemp("study"))
    measure_study.run(made, jobs=1)
    return made


def test_every_recording_has_its_numbers_and_curves(study: Study) -> None:
    found = Measures.load(study.measures)
    assert [r.recording for r in found.recordings] == ["a1", "a2", "b1", "b2"]
    with np.load(study.traces) as curves:
        for row in found.recordings:
            nmax = row.measures["nmax_sone"]
            assert nmax is not None
            loudness = curves[f"{row.recording}/loudness_sone"]
            # every fifth of the 2 ms values: the summit may fall between
            assert 0.8 * nmax < loudness.max() <= nmax * 1.0001
            assert row.measures["t60_s"] == pytest.approx(0.6, rel=0.01)


def test_spreads_are_over_strikes(study: Study) -> None:
    found = Measures.load(study.measures)
    spread = next(s for s in found.spreads if s.metric == "laf_max_db")
    values = [r.measures["laf_max_db"] for r in found.recordings if r.condition == spread.condition]
    assert spread.n == 2
    assert spread.sd == pytest.approx(np.std(np.array(values, dtype=float), ddof=1))
    assert spread.expanded_uncertainty == pytest.approx(2 * spread.sd / np.sqrt(2))


def test_measuring_again_gives_the_same_bytes(study: Study, tmp_path: Path) -> None:
    again = small_study.write(tmp_path)
    measure_study.run(again, jobs=1)
    for path in ("measures.json", "measures.csv", "traces.npz"):
        assert (study.root / path).read_bytes() == (again.root / path).read_bytes(), path


def test_units_count_as_units() -> None:
    strikes = [("x", 1.0), ("x", 1.2), ("y", 2.0), ("y", 2.2)]
    rows = [
        MeasuredRecording(
            recording=f"r{i}",
            condition="a",
            strike=str(i),
            unit=u,
            calibrated=True,
            measures={"t60_s": value},
        )
        for i, (u, value) in enumerate(strikes)
    ]
    (spread,) = measure_study.spreads(rows)
    assert spread.mean == pytest.approx(1.6)
    assert spread.expanded_uncertainty == pytest.approx(2 * np.std([1.1, 2.1], ddof=1) / np.sqrt(2))
