"""The plan as a page for a third party: it states what was fixed, under the hash of the study."""

import json
from pathlib import Path

import pytest

from listening import cli
from listening.analysis.opening import key_opening
from listening.records.dealt.plan import Plan
from listening.records.forms.frozen import History
from listening.records.protocols import protocol
from listening.records.study import Study
from listening.report.page import course, deposit_page
from listening.steps import study_deal as command


def _deal(study: Study, why: str = "") -> Plan:
    return command.deal(study, again=why, secret="0" * 32, dealt_at="2026-01-01T00:00:00+00:00")[0]


def test_the_page_holds_superlatives_too() -> None:
    """Everything that may earn a sentence."""
    planned = protocol.load(Path(__file__).resolve().parents[2] / "protocols" / "bells.toml")
    page = deposit_page._questions(planned)
    assert planned.superlatives
    for number, asked in enumerate(planned.superlatives, start=len(planned.questions) + 1):
        assert f"{number}. **{planned.label(asked.condition)} is heard as the " in page
        assert f"(`{asked.id}`)" in page


def test_the_page_states_questions_rule_panel_and_hashes(
    prepared: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = _deal(prepared)
    assert cli.main(["deposit", str(prepared.root), "--with", "the notary"]) == 0
    page = (prepared.root / "deposited.md").read_text()
    assert plan.study_digest in page
    assert plan.key_digest in page
    assert "is heard as more brightness than" in page
    assert "They stand for: nobody, made up" in page
    assert "Listening ends when 4 listeners have finished" in page
    assert "60 choices in 100" in page
    assert "0" * 32 not in page  # the key's secret
    assert plan.study_digest in capsys.readouterr().out


def test_date_and_hash_of_the_page_reach_the_findings(
    prepared: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = _deal(prepared)
    assert key_opening.fixed(prepared, plan).deposited_at == ""
    cli.main(["deposit", str(prepared.root), "--with", "the notary", "--json"])
    told = json.loads(capsys.readouterr().out)
    found = key_opening.fixed(prepared, plan)
    assert (found.deposited_at, found.deposited_with) == (told["deposited_at"], "the notary")
    assert found.page_digest == told["page_digest"]
    assert ("plan deposited", f"{found.deposited_at} with the notary") in course._fixed(found)


def test_a_deposited_page_stays_noted_with_its_own_version(
    prepared: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    first = _deal(prepared)
    cli.main(["deposit", str(prepared.root)])
    prepared.answers.write_bytes(b"x")
    second = _deal(prepared, "the first deal had a wrong question")
    capsys.readouterr()
    assert key_opening.fixed(prepared, second).deposited_at == ""
    assert key_opening.fixed(prepared, second).reason == "the first deal had a wrong question"
    deposit = History.load(prepared.history).deposited(first.study_digest)
    assert deposit is not None


def test_nothing_is_deposited_before_it_is_dealt_or_after_it_was_altered(
    prepared: Study, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["deposit", str(prepared.root)]) == 2
    assert "nothing is dealt yet" in capsys.readouterr().err
    _deal(prepared)
    prepared.protocol.write_text(prepared.protocol.read_text() + "\n")
    assert cli.main(["deposit", str(prepared.root)]) == 2
    assert "the protocol is not the one that was dealt" in capsys.readouterr().err
    assert not (prepared.root / "deposited.md").exists()


@pytest.mark.parametrize("name", ["protocol.toml", "plan.json", "notes.md"])
def test_no_other_file_is_written_over_and_an_earlier_page_is(prepared: Study, name: str) -> None:
    _deal(prepared)
    other = prepared.root / name
    if not other.exists():
        other.write_text("# My notes\n")
    kept, history = other.read_bytes(), prepared.history.read_bytes()
    assert cli.main(["deposit", str(prepared.root), "--with", "the notary", "--out", str(other)]) == 2
    assert cli.main(["schema", "--out", str(other)]) == 2
    assert (other.read_bytes(), prepared.history.read_bytes()) == (kept, history)
    for _ in range(2):
        assert cli.main(["deposit", str(prepared.root), "--with", "the notary"]) == 0
        assert cli.main(["schema", "--out", str(prepared.root / "schema.json")]) == 0
