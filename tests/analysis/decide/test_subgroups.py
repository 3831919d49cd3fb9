"""A planned subgroup: only its listeners decide, and sentence, page and deposit name them."""

from pathlib import Path
from typing import Any

import pytest

from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Ask
from listening.records.study import Study
from listening.report.sentences import sentences
from listening.store import open_store
from tests.attacks import whole_study
from tests.attacks.conftest import _text
from tests.attacks.whole_study import command
from tests.design import conftest as design

ASK = Ask(wording="How often do you cycle?", answers=["daily", "seldom", "never"])
BASE = {
    "kind": "more",
    "attribute": "brightness",
    "presentation": "matched",
    "contrast": {"more": "c01/free", "than": "c00/free"},
    "smallest_effect": 0.55,
}
DAILY = {"wording": ASK.wording, "answers": ["daily"], "label": "listeners who cycle daily"}
NEVER = {"wording": ASK.wording, "answers": ["never"], "label": "listeners who never cycle"}


def _protocol(**among: Any) -> Protocol:
    plain = design.protocol_of(3, listeners=20, repeats=6).model_dump()
    plain["sitting"]["questionnaire"] = [ASK.model_dump()]
    plain["covariates"]["listeners"] = [ASK.wording]
    plain["questions"] = [
        {"id": "all", **BASE},
        {"id": "daily", **BASE, "among": DAILY | among},
        {"id": "never", **BASE, "among": NEVER},
    ]
    return Protocol.model_validate(plain)


def test_simulated_listeners_answer_the_questionnaire_in_turn(tmp_path: Path) -> None:
    made = (_protocol(), design.manifest_of(3))
    study = whole_study.sat(whole_study.dealt(whole_study.prepared(tmp_path / "study", made, _text)))
    store = open_store(study.answers)
    told = [e.detail for e in store.events() if e.kind == "told"]
    store.close()
    assert told == [f"0|{ASK.answers[n % 3]}" for n in range(20)]


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Study:
    """Twelve of twenty say that they cycle daily, eight seldom, nobody never."""
    root: Path = tmp_path_factory.mktemp("subgroups") / "study"
    made = (_protocol(), design.manifest_of(3))
    study = whole_study.sat(whole_study.dealt(whole_study.prepared(root, made, _text)))
    store = open_store(study.answers)
    for number, row in enumerate(store.sittings()):
        store.note(row.id, "told", detail=f"0|{'daily' if number < 12 else 'seldom'}")
    store.close()
    for step in ("analyse", "report", "verify"):
        assert command(step, study.root) == 0
    return study


def _of(study: Study, name: str) -> QuestionFinding:
    return next(q for q in Findings.load(study.findings).questions if q.id == name)


def test_only_the_subgroup_decides(kept: Study) -> None:
    every, daily, never = (_of(kept, name) for name in ("all", "daily", "never"))
    assert (every.n_listeners, daily.n_listeners, daily.n_panel) == (20, 12, 20)
    assert len(daily.listeners) == 12
    own = {one.listener: one.share for one in every.listeners}
    assert {one.listener: one.share for one in daily.listeners}.items() <= own.items()
    assert daily.share is not None
    assert daily.share.value == pytest.approx(sum(one.share or 0.0 for one in daily.listeners) / 12, abs=0.02)
    assert never.word == "no verdict"
    assert never.reason == "no listener who compared the two said to be among listeners who never cycle"


def test_sentence_page_and_deposit_name_the_subgroup(kept: Study) -> None:
    found = Findings.load(kept.findings)
    assert "among listeners who cycle daily" in sentences.printable(_of(kept, "daily"), found)
    assert "among" not in sentences.printable(_of(kept, "all"), found)
    assert "Decided by 12 of 20 listeners, listeners who cycle daily" in kept.page.read_text()
    assert command("deposit", kept.root) == 0
    assert (
        "decided among listeners who cycle daily alone (who answered “daily”"
        in (kept.root / "deposited.md").read_text()
    )


def test_a_planned_covariate_tells_shares_by_answer_and_gives_no_verdict(kept: Study) -> None:
    found = Findings.load(kept.findings)
    [told] = [one for one in found.listener_covariates if one.question == "all"]
    assert [(g.answer, g.n_listeners) for g in told.groups] == [("daily", 12), ("seldom", 8), ("never", 0)]
    daily = {one.listener for one in _of(kept, "daily").listeners}
    own = {one.listener: one.share or 0.0 for one in _of(kept, "all").listeners}
    for group, members in zip(told.groups, (daily, own.keys() - daily), strict=False):
        assert group.share is not None
        values = [own[name] for name in members]
        assert group.share.value == pytest.approx(sum(values) / len(values), abs=0.02)
    assert told.groups[2].share is None
    asked = {q.id for q in found.questions} | {s.id for s in found.superlatives}
    assert asked == {"all", "daily", "never"}  # nothing that was not planned is decided


def test_page_deposit_and_export_hold_the_planned_covariate(kept: Study, tmp_path: Path) -> None:
    page = kept.page.read_text()
    assert "Planned covariates of listeners" in page
    assert "no subgroup here has a verdict" in page
    assert command("deposit", kept.root) == 0
    assert f"- {ASK.wording}" in (kept.root / "deposited.md").read_text()
    assert command("export", kept.root, "--to", str(tmp_path / "tables")) == 0
    rows = (tmp_path / "tables" / "listener_covariates.csv").read_text().splitlines()
    assert rows[0] == (
        "question,wording,answer,n_listeners,share_value,share_lower,share_upper,share_coverage,p"
    )
    assert len(rows) == 1 + 3 * 3


def test_a_covariate_that_nobody_is_asked_about_is_refused() -> None:
    plain = _protocol().model_dump()
    plain["covariates"]["listeners"] = ["How old are you?"]
    with pytest.raises(ValueError, match="the questionnaire does not ask `How old are you\\?`"):
        Protocol.model_validate(plain)


@pytest.mark.parametrize(
    ("among", "why"),
    [
        ({"wording": "How old are you?"}, "the questionnaire does not ask"),
        ({"answers": ["weekly"]}, "found `weekly`, wanted some of"),
    ],
)
def test_a_subgroup_that_nobody_is_asked_about_is_refused(among: dict[str, Any], why: str) -> None:
    with pytest.raises(ValueError, match=why):
        _protocol(**among)
