"""Each way of asking: what sounds, which answers are offered, what is stored."""

from pathlib import Path
from typing import Any

import pytest

from listening.records.dealt.plan import Plan, PlannedAttribute, PlannedTrial, Slot
from listening.session.actions import Action
from listening.session.showing.view import Stage
from listening.tui import lines
from tests import stations
from tests.stations import Bench, make_plan, take_seat, walk

A, B, C, D, R = (stations.CODES[i] for i in range(5))
SCALE_7 = ("much less", "less", "a little less", "the same", "a little more", "more", "much more")
SCALE_5 = ("not at all", "a little", "somewhat", "quite", "very")
CATEGORIES = ("bad", "poor", "fair", "good", "excellent")


def plan_of(task: str, clips: tuple[str, ...], **attribute: Any) -> Plan:
    """One listener, two trials of the same form."""
    more = {k: attribute.pop(k) for k in ("reference", "start_gain_db") if k in attribute}
    asked = PlannedAttribute(
        name="brightness", task=task, wording="How bright is it?", explanation="", **attribute
    )
    trials = tuple(
        PlannedTrial(trial=f"{i:03d}", attribute="brightness", clips=clips, **more) for i in (1, 2)
    )
    return make_plan().model_copy(update={"attributes": (asked,), "slots": (Slot(slot=0, trials=trials),)})


def at_trial(folder: Path, plan: Plan) -> Bench:
    bench = take_seat(folder, plan)
    walk(bench.sitting, "go_on", "agree", "play", "level_right", "understood")
    return bench


CHOICES = [
    ("2-AFC", (A, B), {}, "second", "second"),
    ("paired comparison", (A, B), {"no_difference": True}, "tie", "tie"),
    ("comparison category", (A, B), {"scale": SCALE_7}, "-3", "-3"),
    ("comparison category", (A, B), {"scale": SCALE_7}, "0", "0"),
    ("category rating", (A,), {"scale": SCALE_5}, "5", "5"),
    ("same-different", (A, B), {}, "same", "same"),
    ("triangle", (A, B, C), {}, "third", "third"),
    ("duo-trio", (A, B), {"reference": R}, "first", "first"),
]


@pytest.mark.parametrize(("task", "clips", "more", "choice", "stored"), CHOICES)
def test_an_answer_from_a_list_is_stored(
    tmp_path: Path, task: str, clips: tuple[str, ...], more: dict[str, Any], choice: str, stored: str
) -> None:
    bench = at_trial(tmp_path, plan_of(task, clips, **more))
    assert not bench.sitting.act(f"choose:{choice}")
    walk(bench.sitting, "play", f"choose:{choice}", "confirm")
    (answer,) = bench.store.answers()
    assert (answer.task, answer.clips, answer.answer) == (task, clips, stored)
    reference = (more["reference"],) if "reference" in more else ()
    assert bench.player.started[-1].clips == (*reference, *clips)


@pytest.mark.parametrize(
    ("moves", "place"),
    [
        (("mark_down",), 0),
        (("mark_up",), -1),
        (("mark_down", "mark_down", "mark_down"), 2),
        (("mark_down", "mark_down", "mark_up"), 0),
        (("mark_down", "mark_up"), 0),
        (("mark_up", "mark_down"), -1),
    ],
)
def test_a_mark_appears_at_the_end_it_is_moved_from_and_stays_on_the_list(
    tmp_path: Path, moves: tuple[str, ...], place: int
) -> None:
    bench = at_trial(tmp_path, plan_of("category rating", (A,), scale=SCALE_5))
    walk(bench.sitting, "play", *moves)
    assert bench.sitting.state.turn.chosen == bench.sitting.state.options[place].value


def test_the_reference_of_a_duo_trio_sounds_first_and_is_called_so(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("duo-trio", (A, B), reference=R))
    assert [clip.letter for clip in bench.sitting.view().clips] == ["R", "A", "B"]
    assert [choice.label for choice in bench.sitting.view().choices] == ["Sound A", "Sound B"]


def test_no_difference_is_offered_where_the_protocol_allows_it_only(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("paired comparison", (A, B)))
    walk(bench.sitting, "play")
    assert not bench.sitting.act("choose:tie")


def test_a_continuous_rating_starts_without_a_mark_and_is_moved_by_keys(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("continuous rating", (A,), scale=("not at all", "extremely")))
    assert not bench.sitting.act("more")
    walk(bench.sitting, "play")
    assert bench.sitting.view().dials[0].share is None
    assert not bench.sitting.act("confirm")
    walk(bench.sitting, "more")
    assert bench.sitting.view().dials[0].share == 0.5
    walk(bench.sitting, "more", "put:70", "less", "less", "confirm")
    assert bench.store.answers()[0].answer == "68"


def test_a_mark_stays_on_its_scale(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("continuous rating", (A,), scale=("not at all", "extremely")))
    walk(bench.sitting, "play", "put:0", "less", "confirm")
    assert bench.store.answers()[0].answer == "0"


def test_a_multiple_stimulus_trial_wants_every_sound_heard_and_rated(tmp_path: Path) -> None:
    plan = plan_of("multiple stimulus", (A, B, C), reference=R, scale=CATEGORIES, switching=True, loops=True)
    bench = at_trial(tmp_path, plan)
    walk(bench.sitting, "play")
    program = bench.player.started[-1]
    assert (program.clips, program.switching, program.loops) == ((R, A, B, C), True, True)
    assert not bench.sitting.act("put:50")  # sound A is not heard yet
    walk(bench.sitting, "hear:1", "put:20", "row_down", "put:50", "hear:3", "put:90", "more")
    assert bench.player.switched == [1, 2, 3]
    assert [d.text for d in bench.sitting.view().dials] == ["20", "50", "91"]
    walk(bench.sitting, "confirm")
    assert bench.store.answers()[0].answer == "20 50 91"
    assert bench.store.answers()[0].clips == (A, B, C)


IMPAIRMENT = (
    "very annoying",
    "annoying",
    "slightly annoying",
    "perceptible, but not annoying",
    "imperceptible",
)  # ITU-R BS.1116-3, table 2, grades 1.0 to 5.0


def graded(folder: Path, language: str = "en") -> Bench:
    """A triple-stimulus trial of which everything was heard."""
    plan = plan_of("triple stimulus", (A, B), reference=R, scale=IMPAIRMENT, switching=True, loops=True)
    bench = at_trial(folder, plan.model_copy(update={"sitting": stations.rules(language=language)}))
    walk(bench.sitting, "hear:0", "hear:1", "hear:2", "row_up")
    return bench


def test_an_impairment_is_graded_with_one_decimal(tmp_path: Path) -> None:
    bench = graded(tmp_path)
    walk(bench.sitting, "digit:3", "digit:.", "digit:7", "take_number", "row_down", "put:5", "less")
    assert [d.text for d in bench.sitting.view().dials] == ["3.7", "4.9"]
    walk(bench.sitting, "confirm")
    assert bench.store.answers()[0].answer == "3.7 4.9"


@pytest.mark.parametrize("typed", ["0", "6", "5.1", "4.75", "."])
def test_a_grade_beyond_the_impairment_scale_or_its_step_is_refused(tmp_path: Path, typed: str) -> None:
    bench = graded(tmp_path)
    for sign in typed:
        bench.sitting.act(f"digit:{sign}")
    assert "from 1.0 to 5.0 in steps of 0.1" in bench.sitting.view().status
    assert not bench.sitting.act(f"put:{typed}")


def test_a_mark_moves_by_a_tenth_and_by_a_grade_without_drift(tmp_path: Path) -> None:
    bench = graded(tmp_path)
    walk(bench.sitting, "more", *["more"] * 7, *["less_by_ten"], "row_down", "put:1.1", *["more"] * 28)
    assert [d.text for d in bench.sitting.view().dials] == ["2.7", "3.9"]
    walk(bench.sitting, "confirm")
    assert bench.store.answers()[0].answer == "2.7 3.9"


def test_a_void_rating_begins_again_at_the_first_sound(tmp_path: Path) -> None:
    plan = plan_of("multiple stimulus", (A, B, C), reference=R, scale=CATEGORIES, switching=True, loops=True)
    bench = at_trial(tmp_path, plan)
    walk(bench.sitting, "play", "hear:1", "put:20", "hear:3", "put:50")
    bench.player.finish(trouble="device lost")
    bench.sitting.tick()
    assert [d.selected for d in bench.sitting.view().dials] == [True, False, False]
    assert [d.text for d in bench.sitting.view().dials] == ["not heard yet"] * 3


def test_a_multiple_stimulus_answer_waits_for_the_unheard_reference(tmp_path: Path) -> None:
    plan = plan_of("multiple stimulus", (A, B), reference=R, scale=CATEGORIES, switching=True, loops=True)
    bench = at_trial(tmp_path, plan)
    walk(bench.sitting, "hear:1", "put:20", "hear:2", "put:50")
    assert "Still unheard: R" in bench.sitting.view().status
    assert not bench.sitting.act("confirm")
    walk(bench.sitting, "hear:0", "confirm")


def test_switching_marks_answers_with_numbers_and_sounds_with_letters(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("2-AFC", (A, B), switching=True, loops=True))
    walk(bench.sitting, "hear:0")
    assert not bench.sitting.act("choose:first")
    walk(bench.sitting, "hear:1")
    keys = {action.key: action.name for action in bench.sitting.actions()}
    assert (keys["a"], keys["b"], keys["1"], keys["2"]) == (
        "hear:0",
        "hear:1",
        "choose:first",
        "choose:second",
    )
    walk(bench.sitting, "choose:second", "confirm")
    assert bench.player.stopped > 0
    assert bench.store.answers()[0].answer == "second"


def test_an_adjustment_starts_off_and_stores_the_gain(tmp_path: Path) -> None:
    plan = plan_of("adjustment", (A, B), switching=True, loops=True, start_gain_db=4.5)
    bench = at_trial(tmp_path, plan)
    walk(bench.sitting, "hear:0", "hear:1")
    assert bench.player.started[-1].gains_db == (-6.0, -1.5)
    assert not bench.sitting.act("confirm")  # it was not turned yet
    walk(bench.sitting, "less", "less", "more", "less")
    assert bench.player.gains[-1] == (1, -6.0 + 3.5)
    assert bench.sitting.view().dials == ()  # no mark whose place could tell
    walk(bench.sitting, "confirm")
    assert bench.store.answers()[0].answer == "3.5"


def test_a_loop_that_breaks_off_voids_the_trial(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("2-AFC", (A, B), switching=True, loops=True))
    walk(bench.sitting, "hear:0", "hear:1", "choose:first")
    bench.player.finish(trouble="device lost")
    bench.sitting.tick()
    assert bench.sitting.stage is Stage.TRIAL
    assert not bench.sitting.act("confirm")
    assert "device lost" in bench.store.events()[-1].detail


def test_no_two_actions_share_a_key(tmp_path: Path) -> None:
    cases: list[tuple[str, tuple[str, ...], dict[str, Any]]] = [(c[0], c[1], c[2]) for c in CHOICES]
    cases += [
        ("multiple stimulus", (A, B, C, D), {"reference": R, "scale": CATEGORIES, "switching": True}),
        ("adjustment", (A, B), {"switching": True, "loops": True, "start_gain_db": 3.0}),
        ("triangle", (A, B, C), {"switching": True}),
    ]
    for number, (task, clips, more) in enumerate(cases):
        folder = tmp_path / str(number)
        folder.mkdir()
        bench = at_trial(folder, plan_of(task, clips, **more))
        for name in ("play", "hear:1", "put:50"):
            bench.sitting.act(name)
            bench.sitting.tick()
            keys = [action.key for action in bench.sitting.actions()]
            assert len(keys) == len(set(keys)), (task, keys)


TYPED = {
    "0": "0",
    "100": "100",
    "007": "7",
    "50.": "50",
    "50,0": "50",
    "50.5": None,
    "1e2": None,
    "-3": None,
    "+3": None,
    "101": None,
    "1000000000": None,
    "5" * 200: None,
    ".": None,
    "3.5.5": None,
    "1 2": None,
    "٥": None,
}
"""What is typed on a scale of 0 to 100, and the mark it makes; None: it is refused and makes none."""


def _typed_on_a_screen(bench: Bench, text: str) -> None:
    """Sign by sign, as a screen hands keys over."""
    keys = {a.argument: a.name for a in bench.sitting.actions() if a.action is Action.DIGIT}
    for sign in text:
        if not (sign in keys and bench.sitting.act(keys[sign])) and not bench.sitting.type_text(sign):
            bench.sitting.wrong_key(sign)


@pytest.mark.parametrize(
    ("text", "way"),
    [(t, way) for t in TYPED for way in ("keys", "pasted", "line") if way != "keys" or " " not in t],
    ids=lambda value: value[:12],  # the space bar plays
)
def test_a_number_is_shown_as_typed_and_refused_with_the_range(tmp_path: Path, text: str, way: str) -> None:
    bench = at_trial(tmp_path, plan_of("continuous rating", (A,), scale=("not at all", "extremely")))
    walk(bench.sitting, "play")
    if way == "line":
        lines._take(bench.sitting, text, [].append)
    else:
        _typed_on_a_screen(bench, text) if way == "keys" else bench.sitting.paste(text)
        assert bench.sitting.view().dials[0].text == (f"{text}_" if len(text) < 9 else f"...{text[-8:]}_")
        if not bench.sitting.act("take_number") and not bench.sitting.act("confirm"):
            bench.sitting.wrong_key("Enter")
    if (wanted := TYPED[text]) is None:
        assert bench.sitting.view().dials[0].share is None
        assert not bench.store.answers()
        told = "does nothing here" if (text, way) == (".", "line") else "from 0 to 100 in steps of 1"
        assert told in bench.sitting.view().hint
        assert not bench.sitting.act("confirm")
        return
    if way == "line":
        walk(bench.sitting, "confirm")
    assert [a.answer for a in bench.store.answers()] == [wanted]


def test_a_number_that_is_no_mark_is_never_taken_by_another_key(tmp_path: Path) -> None:
    plan = plan_of("multiple stimulus", (A, B), reference=R, scale=CATEGORIES, switching=True, loops=True)
    bench = at_trial(tmp_path, plan)
    walk(bench.sitting, "hear:0", "hear:2", "hear:1", "digit:1", "digit:0", "digit:1", "hear:2")
    assert [d.text for d in bench.sitting.view().dials] == ["not set yet"] * 2
    assert "101 is not on the scale" in bench.sitting.view().hint
    assert bench.sitting.state.turn.clip == 1  # nothing else was done
    walk(bench.sitting, "digit:5", "hear:2", "stop_sound", "digit:1", "digit:0", "digit:1", "help")
    assert [d.text for d in bench.sitting.view().dials] == ["5", "not set yet"]
    assert bench.store.events()[-1].kind == "help"
    walk(bench.sitting, "digit:1", "digit:0", "digit:1", "erase", "confirm")
    assert bench.store.answers()[0].answer == "5 10"


def test_a_german_listener_reads_commas(tmp_path: Path) -> None:
    bench = graded(tmp_path, language="de")
    walk(bench.sitting, "digit:3", "digit:,", "digit:7", "take_number")
    assert bench.sitting.view().dials[0].text == "3,7"
    keys = next(a.label for a in bench.sitting.actions() if a.name == "digit:0")
    assert keys == "eine Zahl eingeben, 1,0 bis 5,0"
    walk(bench.sitting, "row_down", "digit:5", "digit:,", "digit:1")
    assert (
        "5,1 liegt nicht auf der Skala: von 1,0 bis 5,0 in Schritten von 0,1" in bench.sitting.view().status
    )
