"""What listeners said of themselves and how their hearing check went, as columns of the export."""

import json
from pathlib import Path

import pandas as pd
import pytest

from listening.analysis.collect import listener_answers
from listening.records.dealt.plan import Plan
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Ask
from listening.session.sounding import hearing_check
from listening.store import open_store
from listening.store.store import EventRow, SittingRow
from tests.attacks import whole_study
from tests.attacks.conftest import _text
from tests.attacks.whole_study import command
from tests.design import conftest as design

AT = "2030-01-01T00:00:00+00:00"
ASKED = [Ask(wording="How often do you cycle?", answers=["daily", "seldom"])]
CHECK = json.dumps(
    {
        "false_alarms": 2,
        "parts": [
            {"ear": "left", "frequency_hz": 1000, "threshold_db": -60.0, "steady": True},
            {"ear": "right", "frequency_hz": 1000, "threshold_db": -52.0, "steady": True},
            {"ear": "left", "frequency_hz": 4000, "threshold_db": -55.0, "steady": False},
            {"ear": "right", "frequency_hz": 4000, "threshold_db": None, "steady": True},
        ],
    }
)


def _sitting(name: str) -> SittingRow:
    return SittingRow(f"id-{name}", name, 0, False, "0", AT, AT, None)


def _event(name: str, kind: str, detail: str) -> EventRow:
    return EventRow(f"id-{name}", AT, kind, None, detail)


def test_answers_and_thresholds_become_columns() -> None:
    events = [
        _event("L1", "told", "0|seldom"),
        _event("L1", "told", "0|daily"),  # asked again after a stop: the last counts
        _event("L1", "told", "1|no | or yes"),
        _event("L1", "hearing check", CHECK),
        _event("L2", "hearing check", hearing_check.SKIPPED),
        _event("L3", "told", "0|daily"),  # of no sitting that is there
        EventRow(None, AT, "removal", None, "one listener withdrew"),
    ]
    own = listener_answers.of_events([_sitting("L1"), _sitting("L2")], events)
    assert own["L2"] == {}
    assert set(own) == {"L1", "L2"}
    assert own["L1"] == {
        "asked_1": "daily",
        "asked_2": "no | or yes",
        "hearing_ears_apart_db": 8.0,
        "hearing_tones_unheard": 1,
        "hearing_steady": 0.75,
        "hearing_false_alarms": 2,
    }
    table = listener_answers.frame(own, ["L2", "L1"])
    assert table["listener"].tolist() == ["L2", "L1"]
    assert table["asked_1"].tolist()[1] == "daily"
    assert set(table.columns) - {"listener"} <= {*listener_answers.meanings(ASKED), "asked_2"}


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    plain = design.protocol_of(3, listeners=8).model_dump()
    plain["sitting"]["questionnaire"] = [one.model_dump() for one in ASKED]
    made = (Protocol.model_validate(plain), design.manifest_of(3))
    root = tmp_path_factory.mktemp("asked") / "study"
    return whole_study.finished(whole_study.prepared(root, made, _text)).root


def test_the_export_and_its_dictionary_hold_them_and_the_findings_do_not(study: Path) -> None:
    assert command("export", study) == 0
    listeners = pd.read_csv(study / "export" / "listeners.csv")
    assert listeners["asked_1"].tolist() == ["daily", "seldom"] * 4
    dictionary = pd.read_csv(study / "export" / "dictionary.csv")
    row = dictionary[(dictionary["table"] == "listeners") & (dictionary["column"] == "asked_1")]
    assert row["meaning"].tolist() == ["How often do you cycle?"]
    assert "seldom" not in (study / "findings.json").read_text()
    assert "seldom" not in (study / "report" / "report.html").read_text()


def test_whoever_withdraws_takes_their_answers_along(study: Path) -> None:
    from listening.records.study import Study

    store = open_store(Study(study).answers)
    name = store.sittings()[0].listener
    store.close()
    assert command("export", study) == 0
    command("withdraw", study, name, "--yes")
    assert not (study / "export" / "listeners.csv").is_file()
    store = open_store(Study(study).answers)
    own = listener_answers.of_events(store.sittings(), store.events())
    store.close()
    assert name not in own
    assert len(own) == len(Plan.load(Study(study).plan).slots) - 1
