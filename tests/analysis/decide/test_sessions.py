"""Two sessions, some listeners at the first one alone: rule, comparison, page, deposit, export, verify."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats as scipy_stats

from listening.analysis.again import exported_tables
from listening.analysis.collect import session_rule
from listening.analysis.decide import contrast
from listening.records.found.findings import Findings
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.sessions import MISSED
from listening.records.study import Study
from listening.simulate import run as simulate
from listening.steps import study_tables
from listening.store import open_store
from tests.attacks import whole_study
from tests.attacks.conftest import _text
from tests.attacks.whole_study import command
from tests.design import conftest as design

LISTENERS, MISSING = 20, 3


def _protocol(met_at_least: int) -> Protocol:
    sessions = {"number": 2, "met_at_least": met_at_least, "apart_at_least_h": 12}
    return design.protocol_of(3, listeners=LISTENERS, repeats=6, sessions=sessions)


def _dealt(root: Path, met_at_least: int) -> Study:
    made = (_protocol(met_at_least), design.manifest_of(3))
    return whole_study.dealt(whole_study.prepared(root, made, _text))


def _finished(root: Path, met_at_least: int) -> Study:
    study = _dealt(root, met_at_least)
    simulate.run(study, seed=3, missing_last=MISSING)
    for step in ("analyse", "report", "verify"):
        assert command(step, study.root) == 0
    return study


@pytest.fixture(scope="module")
def strict(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """The pair is met three times a session: six are asked for, so who missed one is left out."""
    return _finished(tmp_path_factory.mktemp("sessions") / "strict", 6)


@pytest.fixture(scope="module")
def lenient(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Three are enough."""
    return _finished(tmp_path_factory.mktemp("sessions") / "lenient", 3)


def _names(count: int) -> tuple[str, ...]:
    return tuple(f"S{number:03d}" for number in range(LISTENERS - count + 1, LISTENERS + 1))


def test_who_missed_the_last_session_is_left_out_by_the_planned_rule(strict: Study) -> None:
    found = Findings.load(strict.findings)
    assert found.sessions is not None
    assert found.sessions.incomplete == _names(MISSING)
    assert found.sessions.questions[0].left_out == _names(MISSING)
    assert found.questions[0].n_listeners == LISTENERS - MISSING
    assert found.sessions.came == (LISTENERS, LISTENERS - MISSING)
    assert found.looks is not None
    assert found.looks.finished == LISTENERS  # who was said not to come again is waited for no longer


def test_who_met_the_pair_often_enough_decides(lenient: Study) -> None:
    found = Findings.load(lenient.findings)
    assert found.sessions is not None
    assert found.sessions.incomplete == _names(MISSING)
    assert found.sessions.questions[0].left_out == ()
    assert found.questions[0].n_listeners == LISTENERS


def test_the_page_tells_who_missed_the_rule_and_whom_it_left_out(strict: Study, lenient: Study) -> None:
    page = strict.page.read_text()
    for told in (
        "S018, S019, S020 missed a session",
        "after having met each of its pairs",
        "at least 6 times",
        "Left out for it: q: S018, S019, S020",
        "3 listeners missed a session",
        "Session by session",
    ):
        assert told in page, told
    assert "nobody was left out for it" in lenient.page.read_text()


def test_the_comparison_of_sessions_is_the_paired_t_test_of_own_shares(strict: Study) -> None:
    answers = study_tables.tables(strict, now=lambda: "2030-01-03T00:00:00+00:00").tables["answers"]
    pair = {"c01/free", "c00/free"}
    rows = answers[answers["condition_first"].isin(pair) & answers["condition_second"].isin(pair)]
    rows = rows[~rows["listener"].isin(_names(MISSING))]
    chosen = np.where(rows["condition_first"] == "c01/free", rows["chosen"], 1 - rows["chosen"])
    own = rows.assign(own=chosen).groupby(["listener", "session"])["own"].mean().unstack()
    expected = scipy_stats.ttest_rel(own[2], own[1])
    found = Findings.load(strict.findings).sessions
    assert found is not None
    (one,) = found.questions
    assert one.method == "within listeners"
    assert one.n_listeners == LISTENERS - MISSING
    assert one.p == pytest.approx(expected.pvalue, rel=1e-9)
    assert one.difference is not None
    assert one.difference.value == pytest.approx(float((own[2] - own[1]).mean()), abs=1e-12)
    assert one.logit_change is not None


def test_desk_and_deposit_know_the_sessions(strict: Study, capsys: pytest.CaptureFixture[str]) -> None:
    assert command("desk", strict.root, "--json") == 0
    rows = json.loads(capsys.readouterr().out)["sittings"]
    assert [row["state"] for row in rows].count("missed the rest") == MISSING
    assert command("deposit", strict.root) == 0
    assert "A listener comes to 2 sessions, at least 12 hours apart" in " ".join(
        (strict.root / "deposited.md").read_text().split()
    )


def test_a_listener_who_only_owes_a_session_keeps_the_end_closed(tmp_path: Path) -> None:
    study = _dealt(tmp_path / "owing", 3)
    simulate.run(study, seed=3, missing_last=1)
    store = open_store(study.answers)
    assert sum(event.kind == MISSED for event in store.events()) == 1
    store.close()
    # without that mark nineteen of twenty have finished
    (tmp_path / "other").mkdir()
    other = _dealt(tmp_path / "other" / "study", 3)
    simulate.run(other, seed=3, n_listeners=LISTENERS - 1)
    assert command("analyse", other.root) == 2
    assert command("analyse", study.root) == 0


def test_a_withdrawal_takes_both_sessions_along(tmp_path: Path) -> None:
    study = _dealt(tmp_path / "study", 3)
    simulate.run(study, seed=3, n_listeners=2)
    assert command("withdraw", study.root, "S001", "--yes") == 0
    store = open_store(study.answers)
    assert {answer.listener for answer in store.answers()} == {"S002"}
    store.close()


def _panel_with_change(change_logit: float, n: int = 400) -> pd.DataFrame:
    """Two conditions, alike in session 1; the contrast grows by so much in session 2."""
    rng = np.random.default_rng(8)
    listener = np.repeat(np.arange(n), 20)
    session = np.tile(np.repeat([1, 2], 10), n)
    is_first = rng.random(listener.size) < 0.5
    logit = np.where(is_first, 1, -1) * np.where(session == 2, change_logit, 0.0)
    chosen = (rng.random(listener.size) < 1 / (1 + np.exp(-logit))).astype(float)
    a, b = np.where(is_first, "a", "b"), np.where(is_first, "b", "a")
    names = {"listener": [f"L{i:03d}" for i in listener], "session": session, "chosen": chosen}
    sides = {"condition_first": a, "condition_second": b, "stimulus_first": a, "stimulus_second": b}
    return pd.DataFrame({**names, **sides})


def test_the_explaining_model_finds_a_change_between_sessions() -> None:
    table = _panel_with_change(0.8)
    fit = contrast.fit(contrast.design(table, more="a", than="b"))
    found = contrast.session_change(fit, 0.95)
    assert found is not None
    value, lower, upper = found
    assert lower < 0.8 < upper
    assert value == pytest.approx(0.8, abs=0.25)  # four standard errors of 8,000 answers
    assert fit.estimate == pytest.approx(0.4, abs=0.15)  # the mean of the two sessions
    alone = table.drop(columns="session")
    assert contrast.session_change(contrast.fit(contrast.design(alone, more="a", than="b")), 0.95) is None


def test_hearings_are_counted_by_the_pair_met_most_rarely() -> None:
    rows = pd.DataFrame(
        {
            "listener": ["L1", "L1", "L1", "L2"],
            "condition_first": ["c00/free", "c01/free", "c00/free", "c00/free"],
            "condition_second": ["c01/free", "c00/free", "c02/free", "c01/free"],
            "attribute": "brightness",
            "presentation": "matched",
            "role": "study",
        }
    )
    protocol = _protocol(2)
    tables = session_rule.Tables(rows, pd.DataFrame(), pd.DataFrame())
    assert session_rule.fewest(tables, protocol, protocol.questions[0]) == {"L1": 2, "L2": 1}
    assert session_rule.left_out(tables, protocol, {"L1", "L2", "L3"}) == {"q": {"L2", "L3"}}
    of_another = session_rule.left_out(tables, protocol, {"L2", "L3"}, {"L2": 1, "L3": 2})
    assert of_another == {"q": {"L2"}}  # L3 sat in another stage than the question's
    assert session_rule.left_out(tables, protocol, set()) == {}


def test_the_export_says_what_the_session_columns_are(strict: Study) -> None:
    made = study_tables.tables(strict, now=lambda: "2030-01-03T00:00:00+00:00")
    meaning = made.tables["dictionary"].set_index(["table", "column"])["meaning"]
    assert "which of the listener’s sessions" in meaning["answers", "session"]
    assert "the last is minus the rest" in meaning["model_q", "contrast in session 1"]
    assert set(made.tables["model_q"]["listener"]).isdisjoint(_names(MISSING))
    assert meaning["model_q", "c02/free"] == exported_tables.OTHER_CONDITION
