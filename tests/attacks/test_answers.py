"""Attacks on the answers: invented ones, simulated ones among people's, and cherry-picking."""

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from listening.analysis.opening import dealt_answers, key_opening, walked_record
from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.study import Study
from listening.simulate import run as simulate
from listening.store import merging, open_store
from tests.attacks import whole_study
from tests.attacks.whole_study import command

NOW = "2030-02-01T00:00:00+00:00"


NAMED_STILL = 1  # findings and page of the earlier analysis name the listener until they are made anew


def answers_of(study: Study) -> list[Answer]:
    store = open_store(study.answers, create=False)
    found = store.answers()
    store.close()
    return found


def test_two_hundred_invented_trials_a_listener_stop_the_analysis(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    """Before, 1,696 answers counted where 96 were dealt; each is written through the store, chain and all."""
    store = open_store(study.answers, create=False)
    for sitting in store.sittings():
        like = next(a for a in store.answers(sitting.id) if not a.practice)
        for number in range(200):
            store.record(like.model_copy(update={"trial": f"x{number:03d}"}))
    store.close()
    assert command("analyse", study.root) == 2
    said = capsys.readouterr().err
    assert "1600 to a trial that was not dealt to this slot" in said
    assert command("verify", study.root) == 1


CHANGES: dict[str, tuple[dict[str, object], str]] = {
    "another clip": ({"clips": ("aaaaaaaa", "bbbbbbbb")}, "with other clips"),
    "clips turned": ({}, "with its clips in another order"),
    "another attribute": ({"attribute": "loudness"}, "to another attribute"),
    "another task": ({"task": "2-AFC"}, "to another task"),
    "practice": ({"practice": True}, "practice taken for counted"),
    "another trial": ({"trial": "999"}, "was not dealt to this slot"),
    "another slot": ({"slot": 77}, "was not dealt to this slot"),
    "a rehearsal": ({"trial": "rehearsal brightness 1.1"}, "a rehearsal that was not dealt"),
}


@pytest.mark.parametrize("name", list(CHANGES))
def test_an_answer_that_is_not_as_dealt_is_named(study: Study, name: str) -> None:
    change, words = CHANGES[name]
    given = answers_of(study)
    last = given[-1]
    changed = last.model_copy(update=change or {"clips": last.clips[::-1]})
    columns = {
        field: [
            " ".join(value) if field == "clips" else value
            for value in (getattr(answer, field) for answer in [*given[:-1], changed])
        ]
        for field in Answer.model_fields
    }
    plan = Plan.load(study.plan)
    found = list(dealt_answers.faults(columns, plan))
    assert [kind for kind, _ in found if words in kind]
    with pytest.raises(StudyError, match="were not asked for by the plan"):
        dealt_answers.check(columns, plan, "here")


def test_answers_in_another_order_than_dealt_are_named(study: Study) -> None:
    given = answers_of(study)
    given[3], given[4] = given[4], given[3]
    columns = {
        field: [" ".join(a.clips) if field == "clips" else getattr(a, field) for a in given]
        for field in Answer.model_fields
    }
    assert [k for k, _ in dealt_answers.faults(columns, Plan.load(study.plan))] == [
        "in another order than dealt"
    ]


def _human(study: Study, listener: str = "P01") -> None:
    store = open_store(study.answers)
    store.start_sitting(listener, slots=range(8), study_digest=Plan.load(study.plan).study_digest)
    store.close()


def test_simulated_listeners_never_sit_in_a_study_of_people(fresh: Callable[..., Study]) -> None:
    study = fresh()
    _human(study)
    with pytest.raises(StudyError, match="1 people sat in this study already"):
        simulate.run(study, seed=1)


def test_people_never_sit_in_a_simulated_study(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    from listening.session.seating import station
    from listening.session.seating.station import Seat

    store = open_store(study.answers)
    with pytest.raises(StudyError, match="8 simulated listeners sat in this study already"):
        station.take(Plan.load(study.plan), store, Seat("P01"))
    store.close()


def test_simulated_leftovers_are_named_and_stop_the_analysis(study: Study) -> None:
    _human(study)
    with pytest.raises(StudyError, match=r"8 simulated listeners \(.*\) stand among 1 people"):
        key_opening.look(study, now=lambda: NOW)


def test_a_merge_never_mixes(study: Study, tmp_path: Path) -> None:
    digest = Plan.load(study.plan).study_digest
    people = open_store(tmp_path / "people.sqlite")
    people.start_sitting("P01", slots=[0], study_digest=digest)
    simulated = open_store(study.answers)
    for one, other in ((people, simulated), (simulated, people)):
        with pytest.raises(StudyError, match="never stand among human ones"):
            merging.merge(one, other, site="north", study_digest=digest, keep_apart=True)
    people.close()
    simulated.close()


def test_cherry_picking_is_told_on_the_page_and_in_the_footnote(study: Study) -> None:
    """Analyse, remove one listener, analyse again: the page told neither before."""
    first = Findings.load(study.findings)
    assert command("withdraw", study.root, answers_of(study)[0].listener, "--yes") == NAMED_STILL
    assert command("analyse", study.root) == 0
    assert command("report", study.root) == 0
    found = Findings.load(study.findings)
    assert found.record is not None
    assert [r.after_analyses for r in found.record.removals] == [1]
    [before] = [a for a in found.record.analyses if a.other_answers]
    assert before.answers == first.digests.answers
    assert before.words == {q.id: q.word for q in first.questions}
    page = study.page.read_text()
    assert "removed from the answers AFTER an analysis" in page
    assert f"saw other answers (8 listeners finished, hash {first.digests.answers[:16]}" in page
    assert "a complete analysis of other answers on" in page
    assert command("verify", study.root) == 0


def test_another_listener_in_place_of_one_removed_after_an_analysis_is_not_analysed(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command("withdraw", study.root, answers_of(study)[0].listener, "--yes") == NAMED_STILL
    whole_study.sat_again(study, seed=99)
    assert command("analyse", study.root) == 2
    assert "1 more finished since" in capsys.readouterr().err


def test_a_listener_replaced_before_anything_was_analysed_is_told(fresh: Callable[..., Study]) -> None:
    study = whole_study.sat(fresh())
    assert command("withdraw", study.root, answers_of(study)[0].listener, "--yes") == 0
    whole_study.sat_again(study, seed=99)
    assert command("analyse", study.root) == 0
    assert command("report", study.root) == 0
    record = Findings.load(study.findings).record
    assert record is not None
    assert [r.after_analyses for r in record.removals] == [0]
    assert record.replaced == 1
    assert "sat on a place that another listener had begun" in study.page.read_text()
    assert command("verify", study.root) == 0


def test_a_deal_made_again_is_told_with_its_reason(study: Study) -> None:
    assert command("deal", study.root, "--again", "the first panel was too loud") == 0
    whole_study.sat(study)
    assert command("analyse", study.root) == 0
    assert command("report", study.root) == 0
    page = study.page.read_text()
    assert "after 1 analysis: the first panel was too loud" in page
    assert "saw other answers" in page
    assert command("verify", study.root) == 0
    old = Study(study.versions / "1")
    assert walked_record.faults(old, Findings.load(old.findings)) == []


def test_a_log_of_openings_cut_short_hides_no_look(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    log = study.sealed / "openings.log"
    log.write_text("")
    assert command("verify", study.root) == 1
    assert "openings.log: 0 openings, the record tells of 1" in capsys.readouterr().out


def test_a_record_cut_short_is_named_by_the_store(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    lines = study.record.read_text().splitlines(keepends=True)
    kinds = [json.loads(line)["kind"] for line in lines]
    assert kinds == ["dealt", "opening", "analysis", "step", "step"]
    study.record.write_text(lines[0])
    (study.sealed / "openings.log").unlink()
    assert command("verify", study.root) == 1
    assert "of which the store tells, was taken out" in capsys.readouterr().out


def test_a_head_that_was_kept_finds_a_record_made_anew(
    study: Study, fresh: Callable[..., Study], capsys: pytest.CaptureFixture[str]
) -> None:
    """What no walk sees: the owner of folder and key sits, analyses and reports everything again."""
    from listening.commands import desk

    code = desk._head(study)
    assert command("verify", study.root, "--head", code.upper()) == 0
    anew = whole_study.sat(fresh("anew"), seed=77)
    assert command("analyse", anew.root) == 0
    assert command("report", anew.root) == 0
    assert command("verify", anew.root) == 0
    assert command("verify", anew.root, "--head", code) == 1
    assert "stands NOWHERE in this record" in capsys.readouterr().out


def test_every_listeners_code_stands_in_the_record(study: Study) -> None:
    from listening.records.dealt import head_code

    store = open_store(study.answers, create=False)
    codes = [head_code.code(store.head(sitting.id)) for sitting in store.sittings()]
    store.close()
    assert len(set(codes)) == 8
    for code in codes[:2]:
        assert command("verify", study.root, "--head", code) == 0
    with sqlite3.connect(study.answers) as connection:
        connection.execute("UPDATE answer SET answer = 'x' WHERE sitting = (SELECT id FROM sitting LIMIT 1)")


def test_a_code_of_the_wrong_length_is_a_plain_error(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    assert command("verify", study.root, "--head", "abc") == 2
    assert "wanted the 16 letters" in capsys.readouterr().err
