"""Several questions about one pair: heard once, each answer stored before the next is asked."""

from pathlib import Path

from listening.records.dealt.plan import Plan, PlannedTrial, Slot
from listening.session.showing.view import Stage
from tests import stations
from tests.stations import Bench, take_seat, walk

A, B, C, D = stations.CODES[:4]
ASKED = ("brightness", "ringing")


def plan(**rules: object) -> Plan:
    """Two pairs, each with two questions; the break would fall due after every second answer."""
    made = stations.make_plan(sitting=stations.rules(together=list(ASKED), **rules))
    first = made.attributes[0]
    second = first.model_copy(update={"name": "ringing", "wording": "Which of the two rings longer?"})
    trials = tuple(
        PlannedTrial(trial=f"{2 * i + j:03d}", attribute=name, clips=clips, follows=j > 0)
        for i, clips in enumerate([(A, B), (C, D)])
        for j, name in enumerate(ASKED)
    )
    return made.model_copy(update={"attributes": (first, second), "slots": (Slot(slot=0, trials=trials),)})


def seated(folder: Path, **rules: object) -> Bench:
    bench = take_seat(folder, plan(**rules))
    walk(bench.sitting, "go_on", "agree", "play", "level_right")
    for _ in ASKED:  # both words are explained before the first pair
        assert bench.sitting.stage is Stage.INTRODUCTION
        walk(bench.sitting, "play", "understood")
    return bench


def test_a_pair_is_heard_once_and_asked_twice(tmp_path: Path) -> None:
    bench = seated(tmp_path)
    sitting = bench.sitting
    assert sitting.view().heading == "Trial 1 of 2, question 1 of 2"
    walk(sitting, "play", "choose:first", "confirm")
    assert [a.answer for a in bench.store.answers()] == ["first"], "stored before the next is asked"
    view = sitting.view()
    assert view.heading == "Trial 1 of 2, question 2 of 2"
    assert view.question == "Which of the two rings longer?"
    assert "The same sounds, another question" in view.status
    assert view.progress.startswith("1 of 4 questions answered")
    bench.clock.s += 4.5
    walk(sitting, "choose:second", "confirm")
    assert sitting.view().heading == "Trial 2 of 2, question 1 of 2"
    assert not sitting.act("choose:first"), "a new pair must be heard first"
    rows = bench.store.answers()
    assert [(a.attribute, a.clips, a.answer, a.plays) for a in rows] == [
        ("brightness", (A, B), "first", 1),
        ("ringing", (A, B), "second", 1),
    ]
    assert rows[1].response_s == 4.5  # from the moment the question stood there
    assert len(bench.player.started) == 4  # level, two introductions, one pair


def test_the_replay_rule_counts_for_the_pair(tmp_path: Path) -> None:
    bench = seated(tmp_path, plays_at_most=2)
    walk(bench.sitting, "play", "choose:first", "confirm", "play")
    assert not bench.sitting.act("play")
    walk(bench.sitting, "choose:first", "confirm")
    assert [a.plays for a in bench.store.answers()] == [1, 2]


def test_after_a_stop_between_two_questions_the_pair_is_heard_again(tmp_path: Path) -> None:
    bench = seated(tmp_path)
    walk(bench.sitting, "play", "choose:first", "confirm")
    bench.die()
    again = take_seat(tmp_path, plan())
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.view().heading == "Trial 1 of 2, question 2 of 2"
    assert not again.sitting.act("choose:first")
    walk(again.sitting, "play", "choose:second", "confirm")
    assert [(a.attribute, a.answer, a.plays) for a in again.store.answers()] == [
        ("brightness", "first", 1),
        ("ringing", "second", 1),
    ]


def test_no_break_parts_two_questions_about_one_pair(tmp_path: Path) -> None:
    made = plan()
    pair = made.slots[0].trials[:2]
    trials = [
        t.model_copy(update={"trial": f"{2 * i + j:03d}"}) for i in range(7) for j, t in enumerate(pair)
    ]
    many = made.model_copy(update={"slots": (Slot(slot=0, trials=tuple(trials)),)})
    bench = take_seat(tmp_path, many)
    walk(bench.sitting, "go_on", "agree", "play", "level_right", "play", "understood", "play", "understood")
    for _ in range(5):
        walk(bench.sitting, "play", "choose:first", "confirm", "choose:first", "confirm")
    assert bench.sitting.stage is Stage.BREAK
