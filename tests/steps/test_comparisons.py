"""A study's conditions compared: by name in a notebook, and by `measure` for the page."""

from pathlib import Path

import pytest

import listening
from listening.records.comparison import Comparisons
from listening.records.study import Study
from listening.report.page import compared_section
from listening.steps import comparisons, study_measures
from tests.stimuli import small_study


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    made = small_study.write(tmp_path_factory.mktemp("study"))
    study_measures.run(made, jobs=1)
    return made


def test_measure_compares_the_two_levels_of_a_factor(study: Study) -> None:
    (found,) = Comparisons.load(study.comparisons).comparisons
    assert (found.a, found.b) == ("a", "b")
    level = found.row("laf_max_db")
    assert level is not None
    assert (level.strikes_a, level.strikes_b) == (2, 2)
    section = compared_section.of_all([found])[0]
    assert section.heading == "a with b"
    assert any(row[0] == "LAFmax" for row in section.rows.rows)


def test_a_notebook_says_the_same_as_measure(study: Study) -> None:
    (kept,) = Comparisons.load(study.comparisons).comparisons
    found = listening.open(study.root).compare("a", with_="b")
    frame = found.to_frame().set_index("metric")
    row = kept.row("laf_max_db")
    assert row is not None
    assert frame.loc["laf_max_db", "difference"] == pytest.approx(row.difference)
    assert "LAFmax" in found.summary()


@pytest.mark.parametrize(
    ("level", "with_", "fixed", "says"),
    [
        ("aa", "b", {}, "no factor has this value"),
        ("a", "a", {}, "wanted two conditions"),
        ("a", "b", {"support": "free"}, "no such factor"),
    ],
)
def test_what_does_not_single_out_two_conditions_is_refused(
    study: Study, level: str, with_: str, fixed: dict[str, str], says: str
) -> None:
    with pytest.raises(listening.ListeningError, match=says):
        comparisons.compare(study, level, with_=with_, **fixed)


def test_a_study_measured_before_has_no_section(tmp_path: Path) -> None:
    assert not Study(tmp_path).comparisons.is_file()
    assert compared_section.of_all([]) == []
