"""A late stage: a dome and a strike that came after the deal get orders and listeners of their own."""

import hashlib
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listening import cli
from listening.errors import StudyError
from listening.records.dealt import record
from listening.records.dealt.plan import Plan
from listening.records.found.findings import Findings
from listening.records.keys.key import Key
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.session.seating import next_slot
from listening.simulate import run as simulate
from listening.steps import study_amendment, study_deal, study_stimuli
from listening.store import open_store
from tests import cuts
from tests.attacks.whole_study import DEALT_AT, SECRET, command
from tests.stimuli import small_study

WHY = "a third plate came late"
AT = "2030-01-02T00:00:00+00:00"
STAGE = """
[[stages]]
stage = 2
listeners = 8
spare = 1
"""
BLOCK = """
[[blocks]]
stage = 2
attribute = "loudness"
presentation = "matched"
pairs = "planned"
repeats = 2
"""
QUESTION = """
[[questions]]
id = "late"
stage = 2
kind = "more"
attribute = "loudness"
presentation = "matched"
contrast = { more = "c", than = "a" }
smallest_effect = 0.6
"""
ADDED = {
    "c1": ("c", small_study.ringing(f_hz=1400.0, gain_db=-3.0)),
    "c2": ("c", small_study.ringing(f_hz=1410.0, gain_db=-2.0, lead_s=0.12)),
    "a3": ("a", small_study.ringing(f_hz=1505.0, gain_db=0.5)),
}


def _add_recordings(study: Study, sounds: dict[str, tuple[str, np.ndarray]] = ADDED) -> None:
    table = study.root / "sounds" / "recordings.csv"
    rows = table.read_text()
    for name, (design, samples) in sounds.items():
        soundfile.write(table.parent / f"{name}.wav", samples, small_study.RATE_HZ, subtype="PCM_24")
        rows += f"{name},{name}.wav,{design},{name[-1]},5.0\n"
    table.write_text(rows)


def _add(study: Study, text: str = STAGE + BLOCK + QUESTION) -> None:
    study.protocol.write_text(study.protocol.read_text() + text)


def _files(study: Study) -> dict[str, str]:
    return {
        str(path.relative_to(study.root)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in study.root.rglob("*")
        if path.is_file() and not path.name.endswith((".lock", "-shm", "-wal"))
    }


@pytest.fixture(scope="module")
def dealt(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two plates, dealt for eight, sat by all of them."""
    study = small_study.write(tmp_path_factory.mktemp("late") / "study")
    study_stimuli.prepare(study, jobs=1)
    study_deal.deal(study, secret=SECRET, dealt_at=DEALT_AT)
    simulate.run(study, seed=3)
    return study.root


@pytest.fixture
def study(dealt: Path, tmp_path: Path) -> Study:
    return Study(Path(shutil.copytree(dealt, tmp_path / "study")))


@pytest.fixture(scope="module")
def staged(dealt: Path, tmp_path_factory: pytest.TempPathFactory) -> Study:
    """The first stage analysed, then a plate and a strike added, sat by eight others, and reported."""
    study = Study(Path(shutil.copytree(dealt, tmp_path_factory.mktemp("staged") / "study")))
    assert command("analyse", study.root) == 0
    first = Findings.load(study.findings)
    first.save(study.root.parent / "first.json")
    _add_recordings(study)
    _add(study)
    study_amendment.amend(study, WHY, now=AT)
    simulate.run(study, seed=4, stage=2)
    for step in ("analyse", "report", "verify"):
        assert command(step, study.root) == 0, step
    return study


def test_earlier_answers_clips_and_slots_stay_and_the_key_holds_both(study: Study) -> None:
    plan, key, manifest = Plan.load(study.plan), Key.load(study.key), Manifest.load(study.manifest)
    clips = {path.name: path.read_bytes() for path in study.clips.iterdir()}
    store = open_store(study.answers)
    answers = store.answers()
    store.close()
    _add_recordings(study)
    _add(study)
    made = study_amendment.amend(study, WHY, now=AT)
    assert [change.scope for change in made.changes] == ["stage"]
    after = Plan.load(study.plan)
    assert after.slots[: len(plan.slots)] == plan.slots
    assert [slot.stage for slot in after.slots] == [1] * 8 + [2] * 9
    assert set(Key.load(study.key).clips) > set(key.clips)
    assert Manifest.load(study.manifest).stimuli[: len(manifest.stimuli)] == manifest.stimuli
    assert {name: (study.clips / name).read_bytes() for name in clips} == clips
    store = open_store(study.answers)
    assert store.answers() == answers
    store.close()


def test_added_sounds_are_matched_to_the_set_and_their_clips_are_like_the_others(study: Study) -> None:
    before = Manifest.load(study.manifest)
    _add_recordings(study)
    _add(study)
    study_amendment.amend(study, WHY, now=AT)
    manifest = Manifest.load(study.manifest)
    added = [s for s in manifest.stimuli if s.recording in ADDED]
    assert {s.recording for s in added} == set(ADDED)
    assert manifest.target == before.target
    assert all(abs(s.residual_db or 0.0) <= 0.1 for s in added if s.presentation == "matched")
    lengths = {soundfile.info(path).frames for path in study.clips.glob("*.wav")}
    assert len(lengths) == 1


def test_the_new_question_is_decided_by_the_new_stage_alone_and_the_old_one_stays(staged: Study) -> None:
    found = Findings.load(staged.findings)
    first = Findings.load(staged.root.parent / "first.json")
    old, late = found.question("one"), found.question("late")
    assert old.share == first.question("one").share
    assert old.word == first.question("one").word
    assert (old.n_listeners, late.n_listeners) == (8, 8)
    assert {row.listener for row in late.listeners}.isdisjoint(row.listener for row in old.listeners)
    assert late.stimuli_per_condition == 2  # the third strike of a is heard, c has two
    (stage,) = found.stages
    assert (stage.stage, stage.n_listeners, stage.planned, stage.at) == (2, 8, 8, AT)
    assert stage.after_openings == 1
    assert stage.alpha == pytest.approx(0.05)


def test_page_log_and_record_tell_what_was_added_and_when(staged: Study) -> None:
    page = staged.page.read_text()
    for told in (
        "Stage 2 was added to the dealt study on 2030-01-02, after the key had been opened",
        WHY,
        "an error rate of their own: at most 5 in 100",
        "8 listeners alone decide it",
        "a stage of its own was added",
    ):
        assert told in page, told
    entries = [entry for entry in record.load(staged.record) if entry.kind == "amended"]
    assert entries[0].told["changes"][0]["scope"] == "stage"
    assert not list(record.faults(staged.record))


def test_the_end_is_reached_when_each_stage_is_full(study: Study) -> None:
    _add_recordings(study)
    _add(study)
    study_amendment.amend(study, WHY, now=AT)
    assert command("analyse", study.root) == 2  # 8 of 16
    simulate.run(study, seed=4, stage=2, n_listeners=7)
    assert command("analyse", study.root) == 2


def test_places_are_given_in_the_stage_that_lacks_listeners(study: Study) -> None:
    _add_recordings(study)
    _add(study)
    study_amendment.amend(study, WHY, now=AT)
    plan = Plan.load(study.plan)
    assert next_slot.in_order(plan, range(7))[0] == 7
    assert next_slot.in_order(plan, range(8))[0] >= 8


def test_a_stage_that_was_analysed_gets_no_more_answers(dealt: Path, tmp_path: Path) -> None:
    """Spare places of the first stage, filled after its end was analysed and a stage came, are refused."""
    study = small_study.write(tmp_path / "spare", change=("listeners = 8\n", "listeners = 8\nspare = 2\n"))
    study_stimuli.prepare(study, jobs=1)
    study_deal.deal(study, secret=SECRET, dealt_at=DEALT_AT)
    simulate.run(study, seed=3)
    assert command("analyse", study.root) == 0
    _add_recordings(study)
    _add(study)
    study_amendment.amend(study, WHY, now=AT)
    from tests.attacks.whole_study import sat_again

    sat_again(study, seed=9)  # on slot 8, a spare one of the first stage
    simulate.run(study, seed=4, stage=2)
    assert command("analyse", study.root) == 2


@pytest.mark.parametrize(
    ("text", "why"),
    [
        (STAGE + QUESTION, "no block of it asks"),
        (STAGE + BLOCK + QUESTION.replace('"c"', '"d"'), "d"),
        (STAGE.replace("stage = 2", "stage = 3") + BLOCK + QUESTION, "counted up from 2"),
        (BLOCK + QUESTION, "see .*stages"),
        (STAGE, "no block belongs to the new stage"),
    ],
)
def test_a_stage_that_cannot_be_dealt_is_refused_and_nothing_is_touched(
    study: Study, text: str, why: str
) -> None:
    _add_recordings(study)
    _add(study, text)
    before = _files(study)
    with pytest.raises((StudyError, ValueError), match=why):
        study_amendment.amend(study, WHY)
    assert _files(study) == before


def test_a_sound_that_would_clip_under_the_common_gain_is_refused(study: Study) -> None:
    loud = small_study.ringing(f_hz=1400.0, gain_db=28.0)
    _add_recordings(study, {"c1": ("c", np.clip(loud, -0.99, 0.99)), "c2": ("c", ADDED["c2"][1])})
    _add(study)
    before = _files(study)
    with pytest.raises(StudyError, match=r"fixed by the deal|misses"):
        study_amendment.amend(study, WHY)
    assert _files(study) == before


def test_a_family_may_not_reach_over_stages(study: Study) -> None:
    named = 'smallest_effect = 0.6\nfamily = "f"\n'
    text = study.protocol.read_text().replace("smallest_effect = 0.6\n", named)
    late = QUESTION + 'family = "f"\n'
    study.protocol.write_text(text + STAGE + BLOCK + late)
    with pytest.raises(ValueError, match="another stage"):
        study_amendment.amend(study, WHY)


def test_a_protocol_with_stages_is_not_dealt(tmp_path: Path) -> None:
    study = small_study.write(tmp_path / "new")
    _add_recordings(study)
    _add(study)
    study_stimuli.prepare(study, jobs=1)
    with pytest.raises(StudyError, match="listening amend"):
        study_deal.deal(study)


@pytest.mark.slow
def test_a_stage_cut_anywhere_is_made_again_as_if_never_cut(dealt: Path, tmp_path: Path) -> None:
    whole = Study(Path(shutil.copytree(dealt, tmp_path / "whole")))
    _add_recordings(whole)
    _add(whole)
    work = Study(Path(shutil.copytree(whole.root, tmp_path / "work")))
    study_amendment.amend(whole, WHY, now=AT)
    n_steps = cuts.n_steps(lambda: study_amendment.amend(Study(_copy(work, tmp_path / "count")), WHY, now=AT))
    for step in range(0, n_steps, max(1, n_steps // 8)):
        other = Study(_copy(work, tmp_path / f"cut{step}"))
        cuts.cut(lambda other=other: study_amendment.amend(other, WHY, now=AT), step)
        if not Plan.load(other.plan).amends:
            study_amendment.amend(other, WHY, now="2031-01-01T00:00:00+00:00")
        assert Plan.load(other.plan) == Plan.load(whole.plan), step
        assert Key.load(other.key) == Key.load(whole.key)
        assert not list(record.faults(other.record))
        assert not [p for p in other.root.iterdir() if p.name.startswith(".stage")]
        simulate.run(other, seed=4, stage=2, n_listeners=1)
        assert cli.main(["desk", str(other.root)]) == 0


def _copy(study: Study, to: Path) -> Path:
    return Path(shutil.copytree(study.root, to))
