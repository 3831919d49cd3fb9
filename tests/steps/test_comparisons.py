"""A study's conditions compared: by name in a notebook, and by `measure` for the page."""

from dataclasses import replace
from pathlib import Path

import pytest

import listening
from listening.audio import wav
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import channels, measures
from listening.metrics.comparison import strike_data
from listening.records.found.comparison import Comparisons
from listening.records.sounds.recordings_table import Recording
from listening.records.study import Study
from listening.report.page import compared_section
from listening.steps import comparisons, factor_comparisons, study_measures
from tests.metrics.signals import RATE_HZ
from tests.metrics.signals import strike as ring
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


def test_elsewhere_needs_two_conditions_too(study: Study) -> None:
    """With one factor alone both sides would be the same there."""
    with pytest.raises(StudyError, match="wanted two conditions"):
        comparisons.compare(study, "a", with_="b", elsewhere="b")


def test_a_study_reads_the_strikes_of_a_condition_together(tmp_path: Path) -> None:
    """Two strikes on each support; files are read once more, and poles are common to two strikes each."""
    recordings, strikes = [], []
    for place, (support, t60_s) in enumerate((("free", 1.5), ("bar", 0.8))):
        for i in (1, 2):
            path = tmp_path / f"{support}-{i}.wav"
            peaks = (0.2, 0.05 + 0.02 * i)
            made = ring(
                (900.0, 900.8), (t60_s, t60_s), peaks, duration_s=2.5, noise_rms=1e-5, seed=4 * place + i
            )
            wav.save(path, Sound(made, RATE_HZ))
            recordings.append(_recording(path, support, i))
            parts = channels.all_or_one(wav.load(path), None)
            known = [measures.examine(sound) for sound, _ in parts]
            strikes.append(comparisons.strike(recordings[-1], parts, known, 2.0))
    together = comparisons.with_common_poles(recordings, ("support",), strikes, jobs=1)
    (found,) = factor_comparisons.of_factors(recordings, ("support",), together, length_s=2.0)
    (partial,) = found.partials
    assert partial.common_poles
    assert partial.t60_ratio == pytest.approx(0.8 / 1.5, rel=0.005)
    assert partial.shift_hz == pytest.approx(0.0, abs=0.005)


def test_two_designs_on_two_supports_are_compared_there_and_here() -> None:
    """By hand: B is 3 dB over A when hung free and 1 dB on the bar, so the difference falls by 2 dB."""
    sound = Sound(ring((900.0,), (0.4,), (0.1,), duration_s=0.8, noise_rms=1e-5), RATE_HZ)
    measured = strike_data.of(sound, length_s=0.5)
    level_db = {("A", "free"): 70.0, ("B", "free"): 73.0, ("A", "bar"): 60.0, ("B", "bar"): 61.0}
    recordings, strikes = [], []
    for factors, db in level_db.items():
        for i in (1, 2):
            recordings.append(replace(_recording(Path("x.wav"), factors[1], i), factors=factors))
            numbers = measured.numbers | {"laf_max_db": db + 0.1 * i}
            strikes.append(replace(measured, numbers=numbers))
    found = factor_comparisons.of_factors(
        recordings, ("design", "support"), strikes, length_s=0.5, label=str.upper
    )
    support = [f for f in found if (f.a, f.b) == ("A/FREE", "A/BAR")]
    assert [round(f.row("laf_max_db").difference, 6) for f in support if f.row("laf_max_db")] == [-10.0]
    (designs,) = (f for f in found if (f.a, f.b) == ("A/FREE", "B/FREE") and f.elsewhere)
    stay = next(s for s in designs.elsewhere if s.metric == "laf_max_db")
    assert (stay.here, stay.there, stay.change) == pytest.approx((3.0, 1.0, -2.0))
    assert stay.inside_repeatability is False
    (section,) = compared_section.of_all([designs])
    told = "The difference in level (LAFmax) changes: +3.0 dB here, +1.0 dB elsewhere (bar)"
    assert told in " ".join(section.lines)
    assert section.elsewhere is not None
    bare = compared_section.of_all([designs.model_copy(update={"elsewhere": ()})])
    assert bare[0].elsewhere is None


def _recording(path: Path, support: str, strike: int) -> Recording:
    return Recording(
        recording=path.stem,
        file=path,
        factors=(support,),
        strike=str(strike),
        specimen="1",
        pascal_per_full_scale=None,
        channel=None,
    )


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
