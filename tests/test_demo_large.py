"""A study with all that happens to one, in a small form: sessions, sites, ratings, a late plate."""

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.commands.demo import demo_scenario
from listening.errors import RecordError
from listening.intake import study_check
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.protocols import protocol
from listening.records.study import Study
from tests.stimuli import small_study

ROOT = Path(__file__).resolve().parents[1]
SHIPPED = ROOT / "protocols" / "two_days"
SESSIONS = '[sessions]\nnumber = 2\nmet_at_least = 2\n[stopping]\nwithdrawn = "count"\n'
RATED = """
[[attributes]]
name = "likeness"
task = "multiple stimulus"
wording = "How bright is each?"
comparative = "brighter"
scale = ["dull", "bright"]
scale_standard = "own"
[[blocks]]
attribute = "likeness"
presentation = "as recorded"
reference = "a"
repeats = 2
[[questions]]
id = "rated"
kind = "more"
attribute = "likeness"
presentation = "as recorded"
contrast = { more = "b", than = "a" }
smallest_effect = 5
unit = "points"
"""
STAGE = """
[[stages]]
stage = 2
listeners = 8
[[blocks]]
stage = 2
attribute = "loudness"
presentation = "matched"
repeats = 2
[[questions]]
id = "late"
stage = 2
kind = "more"
attribute = "loudness"
presentation = "matched"
contrast = { more = "c", than = "a" }
smallest_effect = 0.6
"""
SCENARIO = """
protocol = "protocol.toml"
[[steps]]
told = "Dealt."
run = ["prepare STUDY --jobs 1", "deal STUDY --open-seed 5"]
[[steps]]
told = "A second laboratory."
copy = "NORTH"
[[steps]]
told = "Two sites, two sessions, one missed, one withdrawn."
run = [
  "simulate STUDY --listeners 6 --missing-last 1 --seed 2",
  "simulate NORTH --first 6 --listeners 4 --seed 2",
  "merge STUDY NORTH --site north --own-site south",
  "withdraw STUDY S002 --yes",
]
[[steps]]
told = "A word is mended; the first end."
change = ["Two plates", "Two ringing plates"]
run = ["amend STUDY 'a clearer title'", "analyse STUDY"]
[[steps]]
told = "A plate comes late."
change = ['["a", "b"]', '["a", "b", "c"]']
append = "stage.toml"
run = ["amend STUDY 'plate c was finished late'", "simulate STUDY --stage 2 --seed 3"]
[[steps]]
told = "Both ends."
run = ["analyse STUDY", "report STUDY", "verify STUDY"]
"""


def _source(folder: Path) -> Path:
    """Protocol, stage and scenario, with recordings of three plates of which two are used at first."""
    study = small_study.write(folder)
    table = folder / "sounds" / "recordings.csv"
    rows = table.read_text()
    for number in (1, 2):
        sound = small_study.ringing(f_hz=1390.0 + 10 * number, gain_db=-float(number))
        soundfile.write(folder / "sounds" / f"c{number}.wav", sound, small_study.RATE_HZ, subtype="PCM_24")
        rows += f"c{number},c{number}.wav,c,{number},5.0\n"
    table.write_text(rows)
    text = study.protocol.read_text()
    for was, now in (
        ('factors = ["design"]', 'factors = ["design"]\nuse = { design = ["a", "b"] }'),
        ("listeners = 8", "listeners = 10"),
        (
            'presentation = "matched"\n[sitting]',
            f'presentation = "matched"\nrepeats = 4\n{SESSIONS}[sitting]',
        ),
    ):
        assert was in text
        text = text.replace(was, now)
    study.protocol.write_text(text + RATED)
    (folder / "stage.toml").write_text(STAGE)
    (folder / "scenario.toml").write_text(SCENARIO)
    return folder


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Study:
    folder = tmp_path_factory.mktemp("large")
    source = _source(folder / "source")
    assert cli.main(["demo", str(folder / "study"), "--scenario", str(source), "--json"]) == 0
    return Study(folder / "study")


def test_it_runs_to_its_page_and_every_question_has_a_word(ran: Study) -> None:
    found = Findings.load(ran.findings)
    assert {q.id for q in found.questions} == {"one", "rated", "late"}
    assert found.title == "Two ringing plates"
    assert all(q.word in ("supported", "contradicted", "undecided") for q in found.questions)
    assert found.question("rated").decided_by == "ratings"


def test_the_page_tells_of_sessions_sites_the_withdrawal_and_both_amendments(ran: Study) -> None:
    page = ran.page.read_text()
    for told in (
        "missed a session",
        "removed from the answers before anything was analysed",
        "a clearer title",
        "Stage 2 was added to the dealt study",
        "plate c was finished late",
        "Session by session",
    ):
        assert told in page, told


def test_who_missed_and_who_withdrew_is_where_the_rules_put_them(ran: Study) -> None:
    found = Findings.load(ran.findings)
    assert found.sessions is not None
    assert found.sessions.incomplete == ("S006",)
    rated = next(one for one in found.sessions.questions if one.question == "rated")
    assert rated.left_out == ("S006",)  # one screen a session, two were asked for
    assert "S002" not in {row.listener for row in found.panel.listeners}
    assert found.question("one").n_listeners == 9
    assert found.question("rated").n_listeners == 8
    assert found.question("late").n_listeners == 8


def test_the_key_and_the_plan_hold_both_stages(ran: Study) -> None:
    plan = Plan.load(ran.plan)
    assert plan.planned_of_each == {1: 10, 2: 8}
    assert len(plan.amends) == 2


def test_the_shipped_study_has_no_error_before_and_after_its_stage(tmp_path: Path) -> None:
    scenario = demo_scenario.load(SHIPPED)
    assert not [p for p in study_check.problems(scenario.protocol) if p.severity == "error"]
    text = scenario.protocol.read_text().replace("../../stimuli_demo", str(ROOT / "stimuli_demo"))
    for step in scenario.steps:
        for was, now in step.changes:
            assert text.count(was) == 1, was
            text = text.replace(was, now)
        text += step.append
    path = tmp_path / "protocol.toml"
    path.write_text(text)
    chosen = protocol.load(path)
    assert chosen.of_stage(2).panel.listeners == 16
    assert not [p for p in study_check.problems(path) if p.severity == "error"]


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ('protocol = "p.toml"', "wanted `protocol`"),
        ('protocol = "p.toml"\n[[steps]]\nrun = []', "wanted `told`"),
        ('protocol = "p.toml"\n[[steps]]\ntold = "x"\ndo = 1', "found `do`"),
        ('protocol = "p.toml"\n[[steps]]\ntold = "x"\nchange = ["a"]', "in pairs"),
    ],
)
def test_a_scenario_that_cannot_be_read_says_which_step(tmp_path: Path, text: str, wanted: str) -> None:
    (tmp_path / "scenario.toml").write_text(text)
    assert tomllib.loads(text)
    with pytest.raises(RecordError, match=wanted):
        demo_scenario.load(tmp_path)


def test_the_last_lines_name_verdicts_and_page(ran: Study, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["verify", str(ran.root), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["same"] is True
    assert np.isfinite(Findings.load(ran.findings).question("rated").se or np.nan)
