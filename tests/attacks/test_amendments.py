"""A dealt study is amended: answers stay, what must not change is refused, and everything tells of it."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from listening import cli
from listening.errors import ListeningError, StudyError
from listening.records.dealt import record
from listening.records.dealt.plan import Plan
from listening.records.forms.frozen import History
from listening.records.found.findings import Findings
from listening.records.study import Study
from listening.session.seating import station
from listening.session.seating.station import Seat
from listening.simulate import run as simulate
from listening.steps import study_amendment, study_deal
from listening.store import open_store
from tests import cuts
from tests.attacks.conftest import small
from tests.attacks.whole_study import command, dealt

WHY = "a word was misspelt"
AT = "2030-01-02T00:00:00+00:00"
Fresh = Callable[..., Study]


def _change(study: Study, was: str, now: str) -> None:
    text = study.protocol.read_text()
    assert was in text
    study.protocol.write_text(text.replace(was, now))


def _amend(study: Study, was: str, now: str) -> None:
    _change(study, was, now)
    study_amendment.amend(study, WHY, now=AT)


def _n_answers(study: Study) -> int:
    store = open_store(study.answers)
    try:
        return len(store.answers())
    finally:
        store.close()


def _sit(study: Study, slots: range) -> None:
    """Simulated listeners with codes of their own on these slots."""
    from listening.records.keys.key import Key
    from listening.records.sounds.manifest import Manifest
    from listening.session.seating.clocks import Clocks
    from listening.session.sounding.clip_reading import Clips
    from listening.session.sounding.player import SilentPlayer
    from listening.simulate import panel, percepts
    from listening.simulate.listener import Truth

    plan = Plan.load(study.plan)
    heard = percepts.of_study(Key.load(study.key), Manifest.load(study.manifest))
    clock, store = simulate.Clock(), station.open_answers(study, durable=False)
    player = SilentPlayer(Clips(study.clips, plan.rate_hz).frames, plan.rate_hz, clock.now_s)
    for slot in (plan.slots[n] for n in slots):
        decided = panel.decisions(plan, heard, slot=slot, seed=9, truth=Truth())
        row, hold = station.take(plan, store, Seat(f"AGAIN{slot.slot}", slot.slot, simulated=True))
        with hold:
            clocks = Clocks(clock.now_s, clock.utc)
            simulate._sit(station.seated(plan, store, row, player=player, clocks=clocks), clock, decided)
    store.close()


def test_a_title_is_mended_after_the_analysis_and_verify_accepts(study: Study) -> None:
    n_answers, before = _n_answers(study), Findings.load(study.findings)
    _amend(study, "Made up for a test", "Made up for tests")
    for step in ("analyse", "report", "verify"):
        assert command(step, study.root) == 0, step
    found = Findings.load(study.findings)
    assert (_n_answers(study), found.title) == (n_answers, "Made up for tests")
    assert found.questions == before.questions
    assert found.record is not None
    (one,) = found.record.amendments
    assert (one.reason, one.at, one.openings > 0) == (WHY, AT, True)
    page = study.page.read_text()
    assert "Amended on 2030-01-02, after any opening of the key" in page
    assert "Made up for tests" in page


def test_a_look_before_the_amendment_is_not_forgotten(study: Study) -> None:
    """The end was analysed with eight; a changed title lets no further answers into the question."""
    _amend(study, "Made up for a test", "Made up for tests")
    assert command("analyse", study.root) == 0
    found = Findings.load(study.findings)
    assert found.record is not None
    assert len(found.record.analyses) == 1


@pytest.mark.parametrize(
    ("was", "now", "why"),
    [
        ('"listeners" = 8', '"listeners" = 7', "the key was opened"),
        ('"smallest_effect" = 0.6', '"smallest_effect" = 0.55', "the key was opened"),
        ('"comparative" = "more brightness"', '"comparative" = "nicer"', "the key was opened"),
        ('"Which has more brightness?"', '"Which is brighter?"', "the key was opened"),
        ('"plays_at_most" = 3', '"plays_at_most" = 5', "how the sitting ran"),
        ('"repeats" = 1', '"repeats" = 2', "orders and clips were dealt"),
        ('"length_s" = 2.5', '"length_s" = 2.0', "listeners heard it so"),
        ('name = "made-up"', 'name = "other"', "known by it"),
    ],
)
def test_what_must_not_change_is_refused_and_nothing_is_touched(
    study: Study, was: str, now: str, why: str
) -> None:
    _change(study, was, now)
    before = {p: p.read_bytes() for p in study.root.rglob("*") if p.is_file()}
    with pytest.raises(StudyError, match=why):
        study_amendment.amend(study, WHY)
    assert {p: p.read_bytes() for p in study.root.rglob("*") if p.is_file()} == before


def test_labels_may_not_change_places(study: Study) -> None:
    _change(study, "labels = {  }", 'labels = {"c00/free" = "c01, free"}')
    with pytest.raises(StudyError, match="named c01/free before"):
        study_amendment.amend(study, WHY)


def test_a_corrected_wording_keeps_earlier_sittings_apart(fresh: Fresh) -> None:
    study = fresh()
    simulate.run(study, n_listeners=3, seed=3)
    n_answers = _n_answers(study)
    _amend(study, '"Which has more brightness?"', '"Which has more bright sound?"')
    plan = Plan.load(study.plan)
    assert plan.attributes[0].wording == "Which has more bright sound?"
    _sit(study, range(8))  # all eight places are free again
    for step in ("analyse", "report", "verify"):
        assert command(step, study.root) == 0, step
    found = Findings.load(study.findings)
    assert _n_answers(study) > n_answers
    assert found.panel.n_listeners == 8
    assert {row.listener for row in found.panel.listeners} == {f"AGAIN{n}" for n in range(8)}
    assert found.record is not None
    assert (found.record.apart, found.record.replaced) == (3, 0)
    assert "3 sittings read other words" in study.page.read_text()


def test_an_unfinished_sitting_goes_on_after_a_title_and_not_after_other_words(fresh: Fresh) -> None:
    study = fresh()
    store = open_store(study.answers)
    station.take(Plan.load(study.plan), store, Seat("L01"))[1].__exit__(None, None, None)
    store.close()
    _amend(study, "Made up for a test", "Made up for tests")
    store = open_store(study.answers)
    row, hold = station.take(Plan.load(study.plan), store, Seat("L01"))
    hold.__exit__(None, None, None)
    store.close()
    assert row.listener == "L01"
    _amend(study, '"Which has more brightness?"', '"Which has more bright sound?"')
    store = open_store(study.answers)
    with pytest.raises(ListeningError, match="before the words on the screen were amended"):
        station.take(Plan.load(study.plan), store, Seat("L01"))
    row, hold = station.take(Plan.load(study.plan), store, Seat(slot=row.slot))
    hold.__exit__(None, None, None)
    store.close()
    assert row.listener != "L01"


def test_recruitment_and_what_decides_may_change_while_the_key_is_closed(fresh: Fresh) -> None:
    study = fresh()
    simulate.run(study, n_listeners=6, seed=3)
    _change(study, '"smallest_effect" = 0.6', '"smallest_effect" = 0.55')
    _change(study, '"listeners" = 8', '"listeners" = 6')
    made = study_amendment.amend(study, "fewer could be recruited", now=AT)
    assert {change.key for change in made.changes} == {"panel.listeners", "questions[q].smallest_effect"}
    assert command("analyse", study.root) == 0
    assert Findings.load(study.findings).panel.n_planned == 6


def test_a_question_that_nobody_was_dealt_is_refused(fresh: Fresh) -> None:
    study = fresh()
    _change(study, "c01/free", "c77/free")
    with pytest.raises(StudyError, match=r"nobody was dealt .*c77/free"):
        study_amendment.amend(study, WHY)


@pytest.fixture(scope="module")
def half_sat(tmp_path_factory: pytest.TempPathFactory) -> Path:
    study = dealt(small(tmp_path_factory.mktemp("half sat") / "study"))
    simulate.run(study, n_listeners=2, seed=3)
    return study.root


@pytest.mark.parametrize("step", range(0, 40, 3))
def test_an_amendment_cut_anywhere_is_made_again_as_if_never_cut(
    half_sat: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: int
) -> None:
    cuts.without_waiting(monkeypatch)
    study = Study(Path(shutil.copytree(half_sat, tmp_path / "whole")))
    _change(study, '"Which has more brightness?"', '"Which has more bright sound?"')
    other = Study(Path(shutil.copytree(study.root, tmp_path / "cut")))
    study_amendment.amend(study, WHY, now=AT)
    cuts.cut(lambda: study_amendment.amend(other, WHY, now=AT), step)
    if len(Plan.load(other.plan).amends) == 0:
        study_amendment.amend(other, WHY, now="2031-01-01T00:00:00+00:00")
    assert Plan.load(other.plan) == Plan.load(study.plan)
    assert len([e for e in record.load(other.record) if e.kind == "amended"]) == 1
    assert len(History.load(other.history).amendments) == 1
    assert _n_answers(other) == _n_answers(study)
    assert not list(record.faults(other.record))


def test_a_changed_amendment_is_seen(study: Study, capsys: pytest.CaptureFixture[str]) -> None:
    _amend(study, "Made up for a test", "Made up for tests")
    assert command("analyse", study.root) == 0
    assert command("report", study.root) == 0
    study.history.write_text(study.history.read_text().replace(WHY, "nothing of note"))
    assert command("verify", study.root) == 1
    assert "history.json: not what was written" in capsys.readouterr().out


def test_the_command_says_what_would_change_and_what_not(
    study: Study, capsys: pytest.CaptureFixture[str]
) -> None:
    _change(study, "Made up for a test", "Made up for tests")
    assert cli.main(["amend", str(study.root), "--dry-run", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [c["key"] for c in told["changes"]] == ["title"]
    assert cli.main(["amend", str(study.root)]) == 2
    assert "say why" in capsys.readouterr().err
    assert cli.main(["amend", str(study.root), WHY]) == 0
    assert "every answer is kept" in capsys.readouterr().out
    assert cli.main(["amend", str(study.root), WHY]) == 2
    assert "says the same" in capsys.readouterr().err


def test_nobody_deals_or_amends_under_a_simulated_panel(fresh: Fresh) -> None:
    study = fresh()
    title = study.protocol.read_text()
    said: list[str] = []

    def change(done: int, of: int) -> None:
        for act in (
            lambda: study_deal.deal(study, again="a strike was wrong"),
            lambda: study_amendment.amend(study, WHY),
        ):
            with pytest.raises(StudyError, match="a sitting is open") as refused:
                act()
            said.append(str(refused.value))
            study.protocol.write_text(f"{title}# for the amendment\n".replace('title = "', 'title = "A '))
        study.protocol.write_text(title)

    simulate.run(study, n_listeners=1, on_progress=change)
    assert len(said) == 2
    study_deal.deal(study, again="a strike was wrong")
