"""`verify` is not fooled by a changed byte in what the findings rest on, or in what was written from them."""

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from listening import cli
from listening.analysis.opening import audit, key_opening
from listening.errors import ListeningError
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.study import Study

KEPT = Path(__file__).resolve().parents[2] / "first_format" / "study"
Attack = Callable[[Study], None]


@pytest.fixture
def study(tmp_path: Path) -> Study:
    return Study(Path(shutil.copytree(KEPT, tmp_path / "study")))


def swapped(path: Path, old: str, new: str) -> None:
    """One text in a file for another of the same length."""
    text = path.read_text()
    assert old in text, path
    assert len(old) == len(new)
    path.write_text(text.replace(old, new, 1))


def rehashed_plan(study: Study) -> None:
    """The smallest effect raised, every hash that can be made again made again, the list of the deal gone."""
    swapped(study.protocol, "smallest_effect = 0.6", "smallest_effect = 0.7")
    digest = hashlib.sha256(study.protocol.read_bytes()).hexdigest()
    Plan.load(study.plan).model_copy(update={"protocol_digest": digest}).sealed().save(study.plan)
    study.frozen.unlink()


REFUSED: dict[str, Attack] = {
    "protocol": lambda s: swapped(s.protocol, "smallest_effect = 0.6", "smallest_effect = 0.5"),
    "key": lambda s: swapped(s.key, '"gain_db": 0.0', '"gain_db": 0.1'),
    "manifest": lambda s: swapped(s.manifest, '"rate_hz": 48000', '"rate_hz": 48001'),
    "plan": lambda s: swapped(s.plan, '"rate_hz": 48000', '"rate_hz": 48001'),
    "plan with all hashes made again": rehashed_plan,
}


@pytest.mark.parametrize("name", list(REFUSED))
def test_what_was_dealt_and_is_not_any_more_is_not_analysed(study: Study, name: str) -> None:
    REFUSED[name](study)
    with pytest.raises(ListeningError, match=r"not the one that was dealt|altered|another plan"):
        key_opening.look(study, now=lambda: "2030-01-01T00:00:00+00:00")


def clip_beside_the_plan(study: Study) -> None:
    study.clips.mkdir()
    (study.clips / f"{Plan.load(study.plan).clips[0].clip}.wav").write_bytes(b"another sound")


FOUND: dict[str, tuple[Attack, str]] = {
    "list of the deal gone": (lambda s: s.frozen.unlink(), "frozen.json: not there"),
    "list of the deal shorter": (
        lambda s: swapped(s.frozen, '"file": "sealed/key.json"', '"file": "sealed/kez.json"'),
        "sealed/key.json is missing",
    ),
    "sealed protocol": (lambda s: swapped(s.frozen_protocol, "0.6", "0.5"), "protocol.toml: not the same"),
    "sealed manifest": (
        lambda s: swapped(s.frozen_manifest, "48000", "48001"),
        "manifest.json: not the same",
    ),
    "clip": (clip_beside_the_plan, "not the clip that was dealt"),
    "history": (lambda s: swapped(s.history, '"number": 1', '"number": 2'), "this deal does not stand in it"),
    "measured values": (lambda s: swapped(s.measures, "0", "1"), "measures.json: not what it was"),
}


def with_sources(study: Study) -> Findings:
    return Findings.load(study.findings).model_copy(update={"sources": audit.sources(study)})


def test_an_untouched_study_has_no_fault(study: Study) -> None:
    found = with_sources(study)
    assert list(found.sources) == ["measures.json"]
    assert audit.faults(study, found) == []


@pytest.mark.parametrize("name", list(FOUND))
def test_a_changed_file_is_named(study: Study, name: str) -> None:
    attack, words = FOUND[name]
    found = with_sources(study)
    attack(study)
    faults = [f for f in audit.faults(study, found) if "though it was dealt" not in f]
    assert len(faults) == 1
    assert words in faults[0]


@pytest.fixture(scope="module")
def reported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small study, analysed and reported; copied before it is changed."""
    folder = tmp_path_factory.mktemp("audit") / "study"
    shutil.copytree(KEPT, folder)
    assert cli.main(["analyse", str(folder)]) == 0
    assert cli.main(["report", str(folder)]) == 0
    return folder


def one_answer(study: Study) -> None:
    with sqlite3.connect(study.answers) as store:
        row, answer = store.execute("select rowid, answer from answer where practice = 0").fetchone()
        other = "second" if answer == "first" else "first"
        store.execute("update answer set answer = ? where rowid = ?", (other, row))


def one_number(study: Study) -> None:
    made = json.loads(study.findings.read_text())
    made["questions"][0]["n_direct_more"] += 1
    study.findings.write_text(json.dumps(made))


def one_number_and_its_page(study: Study) -> None:
    one_number(study)
    assert cli.main(["report", str(study.root)]) == 0


WHOLE: dict[str, tuple[Attack, int]] = {
    "nothing": (lambda s: None, 0),
    "answers": (one_answer, 1),
    "findings": (one_number, 1),
    "findings and page alike": (one_number_and_its_page, 1),
    "page": (lambda s: swapped(s.page, " listeners", " Listeners"), 1),
    "claims sheet": (lambda s: swapped(s.report / "claims.html", "What may", "What mai"), 1),
    "history": (FOUND["history"][0], 1),
    "key": (REFUSED["key"], 1),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", list(WHOLE))
def test_verify_says_whether_anything_is_not_what_the_data_give(
    reported: Path, tmp_path: Path, name: str
) -> None:
    study = Study(Path(shutil.copytree(reported, tmp_path / "study")))
    attack, code = WHOLE[name]
    attack(study)
    assert cli.main(["verify", str(study.root)]) == code
