"""Training on the whole range, the right answer told, comments, and the last answer changed."""

from pathlib import Path

import pytest

from listening.records.dealt.plan import PlannedAttribute, PlannedTrial, Slot
from listening.session.answering import commenting
from listening.session.showing.view import Stage
from listening.store import open_store, revised
from tests import stations
from tests.stations import Bench, make_plan, take_seat, walk

A, B, C, D, E, R = stations.CODES
OPENED = ("go_on", "agree", "play", "level_right", "understood")


def graded(folder: Path, **rules: object) -> Bench:
    """Two trials of four sounds against R, the second with two sounds that the first has not."""
    asked = PlannedAttribute(
        name="quality",
        task="multiple stimulus",
        question="How good is it?",
        explanation="",
        scale=("bad", "good"),
        switching=True,
        loops=True,
    )
    trials = (
        PlannedTrial(trial="001", attribute="quality", clips=(A, B), reference=R, practice=True),
        PlannedTrial(trial="002", attribute="quality", clips=(A, B), reference=R),
        PlannedTrial(trial="003", attribute="quality", clips=(C, D), reference=R),
    )
    plan = make_plan(attributes=(asked,), slots=(Slot(slot=0, trials=trials),))
    return take_seat(folder, plan.model_copy(update={"sitting": stations.rules(**rules)}))


def test_training_offers_every_sound_to_be_rated_before_the_first_grade(tmp_path: Path) -> None:
    bench = graded(tmp_path, training=True)
    walk(bench.sitting, *OPENED)
    assert bench.sitting.stage is Stage.TRAINING
    assert {R, A, B, C, D} == set(bench.sitting.state.trial.every)
    names = [clip.name for clip in bench.sitting.view().clips]
    assert names == ["Sound R", "Sound A", "Sound B", "Sound C", "Sound D"]
    for sound in range(5):
        assert "go_on" not in {action.name for action in bench.sitting.actions()}, "not all heard yet"
        walk(bench.sitting, f"hear:{sound}")
    walk(bench.sitting, "hear:2", "go_on")
    assert bench.sitting.stage is Stage.TRIAL
    assert bench.store.answers() == []
    assert [e.trial for e in bench.store.events() if e.kind == "trained"] == ["training quality 1"]


def test_training_is_not_asked_for_again_after_a_stop(tmp_path: Path) -> None:
    bench = graded(tmp_path, training=True)
    walk(bench.sitting, *OPENED, *(f"hear:{i}" for i in range(5)), "go_on")
    bench.die()
    again = take_seat(tmp_path, bench.sitting.plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.stage is Stage.TRIAL


def test_without_the_rule_no_training_is_offered(tmp_path: Path) -> None:
    bench = graded(tmp_path)
    walk(bench.sitting, *OPENED)
    assert bench.sitting.stage is Stage.TRIAL


def rehearsed(folder: Path, task: str) -> Bench:
    plan = make_plan(n_practice=0)
    asked = plan.attributes[0].model_copy(update={"task": task})
    rules = stations.rules(practice_until_right=2, practice_feedback=True)
    clips = {"triangle": (A, B, C)}.get(task, (A, B))
    reference = R if task == "duo-trio" else None
    trial = PlannedTrial(trial="001", attribute=asked.name, clips=clips, reference=reference)
    changes = {"attributes": (asked,), "sitting": rules, "slots": (Slot(slot=0, trials=(trial,)),)}
    bench = take_seat(folder, plan.model_copy(update=changes))
    walk(bench.sitting, *stations.OPENING)
    return bench


def truly(bench: Bench) -> str:
    """The right answer, by the definition of each method: from the clips alone."""
    more, clips, reference = (
        stations.ANCHORS[0],
        bench.sitting.state.trial.clips,
        bench.sitting.state.trial.reference,
    )
    match bench.sitting.state.attribute.task:
        case "triangle":
            odd = next(i for i in range(3) if clips.count(clips[i]) == 1)
            return ("first", "second", "third")[odd]
        case "duo-trio":
            return "first" if clips[0] == reference else "second"
        case "same-different":
            return "same" if clips[0] == clips[1] else "different"
        case _:
            return "first" if clips[0] == more else "second"


@pytest.mark.parametrize("task", ["2-AFC", "paired comparison", "triangle", "duo-trio", "same-different"])
def test_the_right_answer_about_the_examples_is_told(tmp_path: Path, task: str) -> None:
    bench = rehearsed(tmp_path, task)
    for is_right in (False, True, True):
        assert set(bench.sitting.state.trial.every) <= set(stations.ANCHORS), (
            "only examples have a known answer"
        )
        wanted = truly(bench)
        said = wanted if is_right else next(o.value for o in bench.sitting.state.options if o.value != wanted)
        label = next(o.label for o in bench.sitting.state.options if o.value == wanted)
        walk(bench.sitting, "play", f"choose:{said}", "confirm")
        assert bench.sitting.stage is Stage.FEEDBACK
        told = bench.sitting.view().body[0]
        assert told.startswith("That was right" if is_right else "Right would have been")
        assert label in told
        walk(bench.sitting, "play", "go_on")
    assert bench.sitting.state.trial.trial == "001"
    assert [e.detail for e in bench.store.events() if e.kind == "rehearsed"] == ["brightness|told apart"]


def test_comments_after_each_counted_trial_stand_in_the_record(tmp_path: Path) -> None:
    plan = make_plan(n_trials=2, n_practice=1, sitting=stations.rules(comments="each trial"))
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)  # practice
    stations.one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.COMMENT
    for sign in " B rings  more; größer!x":
        assert bench.sitting.type_text(sign)
    assert bench.sitting.view().status.endswith("größer!x_")
    walk(bench.sitting, "erase", "go_on")
    stations.one_trial(bench.sitting)
    walk(bench.sitting, "go_on")  # nothing to say
    written = commenting.of_events(bench.store.events())
    assert written == [("002", "B rings more; größer!")]


def test_one_comment_at_the_end_is_asked_once(tmp_path: Path) -> None:
    plan = make_plan(n_trials=1, n_practice=0, sitting=stations.rules(comments="end"))
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.COMMENT
    assert not bench.sitting.type_text("\x1b"), "a control character is no text"
    for sign in "x" * (commenting.LONGEST + 3):
        bench.sitting.type_text(sign)
    walk(bench.sitting, "go_on")
    assert bench.sitting.stage is Stage.GOODBYE
    assert commenting.of_events(bench.store.events()) == [("at the end", "x" * commenting.LONGEST)]
    bench.die()
    again = take_seat(tmp_path, plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.stage is Stage.GOODBYE


def at_second_trial(folder: Path, **rules: object) -> Bench:
    bench = take_seat(folder, make_plan(n_trials=2, n_practice=0, sitting=stations.rules(**rules)))
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting, "first")
    return bench


def offered(bench: Bench) -> set[str]:
    return {action.name for action in bench.sitting.actions()}


def test_the_last_answer_may_be_changed_until_the_next_sounds_are_heard(tmp_path: Path) -> None:
    bench = at_second_trial(tmp_path)
    assert [a.answer for a in bench.store.answers()] == ["first"]  # durable before it may be changed
    walk(bench.sitting, "take_back")
    assert bench.sitting.state.trial.trial == "001"
    assert bench.sitting.state.turn.chosen == "first"
    assert bench.sitting.view().progress.startswith("0 of 2")
    walk(bench.sitting, "choose:second", "confirm")
    assert bench.sitting.state.trial.trial == "002"
    assert [(a.trial, a.answer) for a in bench.store.answers()] == [("001", "second")]
    assert bench.store.answer_columns()["answer"] == ["second"]
    walk(bench.sitting, "play")
    assert "take_back" not in offered(bench)
    walk(bench.sitting, "choose:first", "confirm")
    assert bench.sitting.stage is Stage.GOODBYE
    walk(bench.sitting, "take_back", "choose:second", "confirm", "end")
    assert [(a.trial, a.answer) for a in bench.store.answers()] == [("001", "second"), ("002", "second")]
    kinds = [e.kind for e in bench.store.events()]
    assert kinds.count("taken back") == kinds.count(revised.REVISED) == 2


def test_a_stop_while_an_answer_is_changed_leaves_the_first_one(tmp_path: Path) -> None:
    bench = at_second_trial(tmp_path)
    walk(bench.sitting, "take_back", "choose:second")
    bench.die()
    again = take_seat(tmp_path, bench.sitting.plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.state.trial.trial == "002"
    assert [a.answer for a in again.store.answers()] == ["first"]
    assert "take_back" not in offered(again)


def test_where_the_protocol_says_so_an_answer_stands(tmp_path: Path) -> None:
    assert "take_back" not in offered(at_second_trial(tmp_path, may_go_back=False))


@pytest.mark.parametrize(
    "detail",
    [
        "{}",
        "no json",
        '{"answer": ["second"], "response_s": 1, "plays": 1, "answered_at": "2099-01-01T00:00:00+00:00"}',
        '{"answer": "second", "response_s": NaN, "plays": 1, "answered_at": "2099-01-01T00:00:00+00:00"}',
        '{"answer": "second", "response_s": 1, "plays": true, "answered_at": "2099-01-01T00:00:00+00:00"}',
    ],
    ids=["nothing", "no json", "a list", "no time", "no number"],
)
def test_a_changed_answer_that_no_sitting_writes_is_named(tmp_path: Path, detail: str) -> None:
    bench = at_second_trial(tmp_path)
    bench.store.note(bench.sitting.row.id, revised.REVISED, trial="001", detail=detail)
    store = open_store(tmp_path / "answers.sqlite")
    for read in (store.answers, store.answer_columns):
        with pytest.raises(ValueError, match="table event, kind revised"):
            read()
