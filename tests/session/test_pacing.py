"""What time and the desk bring to a sitting: rests, its limit, reminders, idleness, loops, calls for help."""

from pathlib import Path

import pytest

from listening.session.showing.view import Stage
from listening.store import open_store
from tests.session.test_tasks import CATEGORIES, A, B, C, R, at_trial, plan_of
from tests.stations import OPENING, Bench, make_plan, one_trial, rules, take_seat, walk


def seated(folder: Path, at_once: bool = True, **changes: object) -> Bench:
    """At the first of four trials."""
    plan = make_plan(n_trials=4, n_practice=0).model_copy(update={"sitting": rules(**changes)})
    bench = take_seat(folder, plan, at_once=at_once)
    if at_once:
        walk(bench.sitting, *OPENING)
    return bench


def kinds(bench: Bench) -> list[tuple[str, str]]:
    return [(event.kind, event.detail) for event in bench.store.events()]


def looped(folder: Path, **attribute: object) -> Bench:
    plan = plan_of(
        "multiple stimulus", (A, B, C), reference=R, scale=CATEGORIES, switching=True, loops=True, **attribute
    )
    return at_trial(folder, plan)


def test_a_break_comes_after_the_minutes_that_the_protocol_says(tmp_path: Path) -> None:
    bench = seated(tmp_path, break_every_min=10)
    bench.clock.s += 599
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.TRIAL
    bench.clock.s += 1
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.BREAK
    bench.clock.s += 60
    walk(bench.sitting, "go_on")
    bench.clock.s += 599  # the minutes run from the end of the break
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.TRIAL


def test_a_sitting_ends_for_now_at_its_limit_and_goes_on_another_time(tmp_path: Path) -> None:
    bench = seated(tmp_path, session_at_most_min=20)
    bench.clock.s += 1200
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.ENOUGH
    assert not bench.sitting.act("play")
    walk(bench.sitting, "end")
    assert bench.sitting.is_over
    assert not bench.sitting.state.is_finished
    bench.hold.__exit__(None, None, None)
    again = take_seat(tmp_path, bench.sitting.plan)
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.stage is Stage.TRIAL
    assert again.sitting.state.n_done == 1


def test_a_second_before_its_limit_a_sitting_goes_on(tmp_path: Path) -> None:
    bench = seated(tmp_path, session_at_most_min=20)
    bench.clock.s += 1199
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.TRIAL
    bench.clock.s += 1
    one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.ENOUGH


def test_a_late_answer_is_asked_for_once_and_written_down(tmp_path: Path) -> None:
    bench = seated(tmp_path, answer_within_s=8)
    walk(bench.sitting, "play")
    bench.clock.s += 7.9
    bench.sitting.tick()
    assert bench.sitting.view().notice == ""
    bench.clock.s += 0.1
    bench.sitting.tick()
    assert "Please answer now" in bench.sitting.view().notice
    bench.clock.s += 60
    bench.sitting.tick()
    assert [kind for kind, _ in kinds(bench)].count("late") == 1
    walk(bench.sitting, "choose:first", "confirm")
    assert bench.sitting.view().notice == ""


def test_a_sitting_without_a_key_for_minutes_falls_silent_and_pauses(tmp_path: Path) -> None:
    bench = seated(tmp_path, idle_after_min=5)
    bench.clock.s += 200
    bench.sitting.wrong_key("Q")
    walk(bench.sitting, "play")
    bench.clock.s += 299
    bench.sitting.tick()
    assert bench.sitting.stage is Stage.TRIAL
    bench.clock.s += 1
    bench.sitting.tick()
    assert bench.sitting.stage is Stage.PAUSE
    assert "Nobody pressed a key" in bench.sitting.view().notice
    assert kinds(bench)[-1] == ("paused", "idle")
    walk(bench.sitting, "go_on", "choose:first", "confirm")


def test_a_loop_stops_after_its_time_and_what_was_heard_stays_heard(tmp_path: Path) -> None:
    bench = looped(tmp_path)
    walk(bench.sitting, "play", "hear:1", "put:40")
    bench.clock.s += 120
    bench.sitting.tick()
    assert not bench.sitting.state.turn.running
    assert "loop has stopped" in bench.sitting.view().notice
    assert bench.sitting.view().dials[0].text == "40"
    walk(bench.sitting, "play")
    assert bench.player.started[-1].start == 1  # goes on with the sound heard last, not with R


def test_the_key_of_the_sound_that_is_heard_starts_its_loop_again(tmp_path: Path) -> None:
    bench = looped(tmp_path)
    walk(bench.sitting, "hear:1")
    assert bench.player.restarted == 0
    walk(bench.sitting, "hear:1")
    assert (bench.player.restarted, bench.player.switched) == (1, [1])


@pytest.mark.parametrize(("to", "restarted"), [("same place", 0), ("start", 1)])
def test_another_sound_is_entered_where_the_protocol_says(tmp_path: Path, to: str, restarted: int) -> None:
    bench = looped(tmp_path, switching_to=to)
    walk(bench.sitting, "hear:1", "hear:2")
    assert (bench.player.restarted, bench.player.switched) == (restarted, [2])


def test_a_part_of_the_loop_is_kept_for_the_next_play_and_given_up_by_its_key(tmp_path: Path) -> None:
    bench = looped(tmp_path)
    walk(bench.sitting, "hear:1")
    for share, act in ((0.25, "part_from"), (0.75, "part_to")):
        bench.player.share = share
        bench.sitting.tick()
        assert bench.sitting.act(act)
    assert bench.player.parts == [(0.25, 1.0), (0.25, 0.75)]
    walk(bench.sitting, "stop_sound", "play")
    assert bench.player.parts[-1] == (0.25, 0.75)
    walk(bench.sitting, "part_whole")
    assert bench.player.parts[-1] == (0.0, 1.0)


def test_an_end_of_the_part_on_the_wrong_side_of_the_other_lets_it_give_way(tmp_path: Path) -> None:
    bench = looped(tmp_path)
    walk(bench.sitting, "hear:1")
    for share, act in ((0.5, "part_to"), (0.8, "part_from"), (0.3, "part_to")):
        bench.player.share = share
        bench.sitting.tick()
        assert bench.sitting.act(act)
    assert bench.player.parts == [(0.0, 0.5), (0.8, 1.0), (0.0, 0.3)]


def test_sounds_sort_by_their_marks_and_keep_their_letters_and_places_in_the_answer(tmp_path: Path) -> None:
    bench = looped(tmp_path)
    walk(bench.sitting, "hear:1", "put:20", "hear:2", "put:80", "hear:3", "sort_rows")
    assert [d.clip.letter for d in bench.sitting.view().dials] == ["B", "A", "C"]
    walk(bench.sitting, "put:50", "row_up", "put:30", "hear:0", "confirm")
    assert bench.store.answers()[0].answer == "30 80 50"


def test_a_play_is_stopped_by_its_key_and_does_not_count(tmp_path: Path) -> None:
    bench = seated(tmp_path, at_once=False)
    walk(bench.sitting, "go_on", "agree", "play")
    bench.player.finish()
    bench.sitting.tick()
    walk(bench.sitting, "level_right", "play")
    bench.player.finish()
    bench.sitting.tick()
    walk(bench.sitting, "understood", "play", "stop_sound")
    assert bench.player.stopped > 0
    assert not bench.sitting.act("choose:first")
    assert bench.sitting.stage is Stage.TRIAL
    assert not [kind for kind, _ in kinds(bench) if kind == "void"]
    walk(bench.sitting, "play")
    bench.player.finish()
    bench.sitting.tick()
    walk(bench.sitting, "choose:first", "confirm")
    assert bench.store.answers()[0].plays == 2


def test_a_call_for_help_is_written_down_and_answered_on_the_screen(tmp_path: Path) -> None:
    bench = seated(tmp_path)
    walk(bench.sitting, "help")
    assert kinds(bench)[-1] == ("help", "")
    assert "can see your call" in bench.sitting.view().notice


@pytest.mark.parametrize(("asked", "stage"), [("pause", Stage.PAUSE), ("end", Stage.OVER)])
def test_the_desk_pauses_or_ends_a_sitting(tmp_path: Path, asked: str, stage: Stage) -> None:
    bench = seated(tmp_path)
    desk = open_store(tmp_path / "answers.sqlite", create=False)
    desk.note(bench.sitting.row.id, "asked", detail=asked)
    desk.close()
    bench.clock.s += 31  # the next heartbeat
    bench.sitting.tick()
    assert bench.sitting.stage is stage
    if stage is Stage.PAUSE:
        assert "asked for a pause" in bench.sitting.view().notice
        walk(bench.sitting, "go_on")
        bench.clock.s += 31
        bench.sitting.tick()
        assert bench.sitting.stage is Stage.TRIAL  # one request, one pause


def test_what_the_desk_asked_of_an_earlier_run_is_over(tmp_path: Path) -> None:
    bench = seated(tmp_path)
    bench.store.note(bench.sitting.row.id, "asked", detail="end")
    bench.hold.__exit__(None, None, None)
    again = take_seat(tmp_path, bench.sitting.plan)
    again.clock.s += 31
    again.sitting.tick()
    assert again.sitting.stage is Stage.WELCOME
