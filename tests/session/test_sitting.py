"""The sitting goes through its stages, stores each answer first, and comes back where it stopped."""

from pathlib import Path

import pytest

from listening.errors import ListeningError, StudyError
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage
from listening.session.sitting_course import Course
from tests import stations
from tests.stations import OPENING, make_plan, one_trial, take_seat, walk


def test_a_sitting_goes_from_welcome_to_goodbye(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=2, n_practice=1))
    seen = [bench.sitting.stage]
    for name in OPENING:
        walk(bench.sitting, name)
        seen.append(bench.sitting.stage)
    assert list(dict.fromkeys(seen)) == [
        Stage.WELCOME,
        Stage.CONSENT,
        Stage.LEVEL,
        Stage.INTRODUCTION,
        Stage.TRIAL,
    ]
    for _ in range(3):
        one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.GOODBYE
    walk(bench.sitting, "end")
    assert bench.sitting.is_over
    assert bench.store.sittings()[0].finished_at is not None


def test_answers_hold_the_clips_in_the_order_they_sounded(tmp_path: Path) -> None:
    plan = make_plan(n_trials=2, n_practice=1)
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    for answer in ("first", "second", "first"):
        one_trial(bench.sitting, answer)
    answers = bench.store.answers()
    assert [(a.trial, a.answer, a.practice) for a in answers] == [
        ("001", "first", True),
        ("002", "second", False),
        ("003", "first", False),
    ]
    assert [a.clips for a in answers] == [t.clips for t in plan.slots[0].trials]
    assert [p.clips for p in bench.player.started[2:]] == [t.clips for t in plan.slots[0].trials]


def test_response_time_runs_from_the_first_sound_to_the_choice(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_practice=0))
    walk(bench.sitting, *OPENING)
    bench.clock.s = 200.0
    walk(bench.sitting, "play")
    bench.clock.s = 203.0
    walk(bench.sitting, "play")  # a replay does not restart the time
    bench.clock.s = 207.5
    walk(bench.sitting, "choose:second")
    bench.clock.s = 220.0
    walk(bench.sitting, "confirm")
    answer = bench.store.answers()[0]
    assert (answer.response_s, answer.plays) == (7.5, 2)


def test_no_answer_counts_before_the_sounds_were_heard_to_the_end(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(), at_once=False)
    bench.player.at_once = True
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    assert not bench.sitting.act("choose:first")
    walk(bench.sitting, "play")
    assert not bench.sitting.act("choose:first")
    bench.player.finish()
    bench.sitting.tick()
    assert bench.sitting.act("choose:first")


def test_as_many_plays_as_the_protocol_allows(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(sitting=stations.rules(plays_at_least=2, plays_at_most=2)))
    walk(bench.sitting, *OPENING)
    walk(bench.sitting, "play")
    assert not bench.sitting.act("choose:first")
    walk(bench.sitting, "play")
    assert not bench.sitting.act("play")
    walk(bench.sitting, "choose:first", "confirm")


def test_a_pause_in_the_last_play_cannot_lock_the_trial(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(sitting=stations.rules(plays_at_least=1, plays_at_most=1)))
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    walk(bench.sitting, "play", "leave", "stay")
    bench.player.at_once = True
    walk(bench.sitting, "play", "choose:first", "confirm")


def test_a_choice_can_be_mended_until_it_is_confirmed(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_practice=0))
    walk(bench.sitting, *OPENING)
    walk(bench.sitting, "play", "choose:first", "choose:second", "confirm")
    assert [a.answer for a in bench.store.answers()] == ["second"]
    assert not bench.sitting.act("choose:first")  # the next trial is unheard


@pytest.mark.parametrize(
    ("played", "trouble"), [(999, ""), (1000, "the device went away")], ids=["shortfall", "device lost"]
)
def test_a_trial_that_did_not_sound_in_full_is_void_and_asked_again(
    tmp_path: Path, played: int, trouble: str
) -> None:
    bench = take_seat(tmp_path, make_plan(n_practice=0))
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    walk(bench.sitting, "play")
    bench.player.finish(played=played, trouble=trouble)
    bench.sitting.tick()
    assert "interrupted" in bench.sitting.view().notice
    assert not bench.sitting.act("choose:first")
    voids = [e for e in bench.store.events() if e.kind == "void"]
    assert voids[0].trial == "001"
    assert (trouble or "1 of 1000 frames not played") in voids[0].detail
    bench.player.at_once = True
    one_trial(bench.sitting)
    assert [a.trial for a in bench.store.answers()] == ["001"]


def test_a_device_that_keeps_failing_asks_for_a_person(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    for _ in range(3):
        walk(bench.sitting, "play")
        bench.player.finish(played=0)
        bench.sitting.tick()
    assert bench.sitting.stage is Stage.TROUBLE
    walk(bench.sitting, "try_again")
    assert bench.sitting.stage is Stage.TRIAL


def test_each_trouble_takes_three_failures_of_its_own(tmp_path: Path) -> None:
    """After somebody looked at the device the count begins again: two more failures are no trouble yet."""
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    stages = []
    for _ in range(6):
        walk(bench.sitting, "play")
        bench.player.finish(played=0)
        bench.sitting.tick()
        stages.append(bench.sitting.stage)
        if bench.sitting.stage is Stage.TROUBLE:
            walk(bench.sitting, "try_again")
    assert stages == [Stage.TRIAL, Stage.TRIAL, Stage.TROUBLE] * 2


def test_the_heart_beats_every_half_minute_and_no_oftener(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = take_seat(tmp_path, make_plan())
    beats: list[float] = []
    monkeypatch.setattr(bench.store, "beat", lambda sitting: beats.append(bench.clock.s))
    for s in (129.9, 130.0, 131.0, 159.9, 160.0, 175.0, 190.0):
        bench.clock.s = s
        bench.sitting.tick()
    assert beats == [130.0, 160.0, 190.0]


def test_what_was_sent_is_written_down_at_every_answer_and_whichever_way_one_leaves(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())

    def sent() -> list[str]:
        return [e.detail.split()[0] for e in bench.store.events() if e.kind == "sent"]

    bench.player.sent = 0.25
    walk(bench.sitting, *OPENING)
    assert sent() == ["0.25"]  # when the level was set
    bench.player.sent = 0.5
    one_trial(bench.sitting)
    assert sent() == ["0.25", "0.5"]
    bench.player.sent = 0.75
    walk(bench.sitting, "leave", "leave_now")
    assert sent() == ["0.25", "0.5", "0.75"]
    bench.die()
    again = take_seat(tmp_path, make_plan())
    again.player.sent = 0.125
    again.sitting.stop()
    assert sent() == ["0.25", "0.5", "0.75", "0.125"]
    assert [e.kind for e in bench.store.events()][-1] == "left"


@pytest.mark.parametrize(("waiting", "is_said"), [(0, False), (1, True), (7, True)])
def test_an_answer_that_waits_for_the_server_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, waiting: int, is_said: bool
) -> None:
    bench = take_seat(tmp_path, make_plan())
    monkeypatch.setattr(bench.store, "waiting", lambda: waiting)
    assert (bench.sitting.view().notice == bench.sitting.words.text("notice_kept_here")) is is_said
    assert bench.sitting.state.is_waiting is is_said


def test_a_break_lasts_as_long_as_the_protocol_says(tmp_path: Path) -> None:
    plan = make_plan(
        n_trials=6, n_practice=0, sitting=stations.rules(break_every_trials=5, break_at_least_s=30)
    )
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    for _ in range(5):
        one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.BREAK
    assert not bench.sitting.act("go_on")
    assert "30 seconds" in " ".join(bench.sitting.view().body)
    bench.clock.s += 30.0
    walk(bench.sitting, "go_on")
    assert bench.sitting.stage is Stage.TRIAL


def test_not_understanding_is_recorded_and_goes_on(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING[:-1], "not_sure")
    assert bench.sitting.stage is Stage.TRIAL
    assert [e.detail for e in bench.store.events() if e.kind == "introduced"] == [
        "brightness|not sure|plays 1"
    ]


def test_who_does_not_agree_hears_nothing(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, "go_on", "decline", "reconsider")
    assert bench.sitting.stage is Stage.CONSENT
    walk(bench.sitting, "decline")
    assert not bench.sitting.act("agree"), "the key that agreed must not end it here"
    walk(bench.sitting, "decline_now")
    assert "Thank you for your time" in bench.sitting.view().body[0]
    assert bench.sitting.state.is_finished
    walk(bench.sitting, "end")
    assert bench.sitting.is_over
    assert bench.player.started == []
    assert bench.store.answers() == []


def test_a_resumed_sitting_asks_what_is_left_and_sets_the_level_again(tmp_path: Path) -> None:
    plan = make_plan(n_trials=3, n_practice=1)
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    one_trial(bench.sitting)
    one_trial(bench.sitting)
    bench.die()
    again = take_seat(tmp_path, plan)
    assert "Welcome back" in again.sitting.view().body[0]
    walk(again.sitting, "go_on", "play", "level_right")
    assert again.sitting.state.trial.trial == "003"
    assert again.sitting.state.n_done == 1  # practice is no trial that counts
    assert again.sitting.state.trial.clips == plan.slots[0].trials[2].clips


def test_a_finished_listener_has_nothing_left(tmp_path: Path) -> None:
    plan = make_plan(n_trials=1, n_practice=0)
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    one_trial(bench.sitting)
    walk(bench.sitting, "end")
    bench.die()
    with pytest.raises(StudyError, match="has finished"):
        take_seat(tmp_path, plan)


def test_a_sitting_of_another_deal_is_refused(tmp_path: Path) -> None:
    take_seat(tmp_path, make_plan())
    with pytest.raises(StudyError, match="another deal"):
        take_seat(tmp_path, make_plan(study_digest="e" * 64))


def test_a_clock_that_went_back_is_written_down_and_keeps_nobody_out(tmp_path: Path) -> None:
    from listening.session.seating.station import note_clock

    bench = take_seat(tmp_path, make_plan())
    row = bench.store.sittings()[0]
    note_clock(bench.store, row, "2001-01-01T00:00:00+00:00")
    noted = [event.detail for event in bench.store.events(row.id) if event.kind == "caution"]
    assert len(noted) == 1
    assert "set the clock right" in noted[0]


def test_a_name_is_no_listener_code(tmp_path: Path) -> None:
    with pytest.raises(ListeningError, match="use a code, not a name"):
        take_seat(tmp_path, make_plan(), Seat("Somebody With A Name"))


def test_a_slot_beyond_the_plan_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="slots 0 to 2"):
        take_seat(tmp_path, make_plan(), Seat(slot=9))


def test_progress_and_time_to_go_are_said(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=10, n_practice=0))
    walk(bench.sitting, *OPENING)
    for _ in range(4):
        bench.clock.s += 20.0
        one_trial(bench.sitting)
    assert bench.sitting.view().progress == "4 of 10 trials done, about 2 min to go"
    assert bench.sitting.view().share_done == 0.4


@pytest.mark.parametrize(
    ("changes", "said"),
    [({}, "Vielen Dank. Sie sind fertig."), ({"goodbye": "Danke, auf bald."}, "Danke, auf bald.")],
    ids=["default", "own"],
)
def test_a_german_sitting_ends_in_german(tmp_path: Path, changes: dict[str, str], said: str) -> None:
    rules = stations.rules(language="de", **changes)
    bench = take_seat(tmp_path, make_plan(n_trials=1, n_practice=0, sitting=rules))
    walk(bench.sitting, *OPENING)
    one_trial(bench.sitting)
    words, code = bench.sitting.view().body
    assert words == said
    assert (
        code == f"Code Ihrer Antworten: {bench.sitting.code()}  Wer ihn aufschreibt, kann sie prüfen lassen."
    )


def test_the_clock_is_looked_at_once_an_act_and_again_when_drawn(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = stations.take_seat(tmp_path, stations.make_plan())
    looks: list[str] = []
    usual = Course.look_around

    def look_around(course: Course) -> None:
        looks.append(course.state.stage.value)
        usual(course)

    monkeypatch.setattr(Course, "look_around", look_around)
    assert bench.sitting.act("go_on")
    assert looks == ["welcome"]
    bench.sitting.view()
    assert looks == ["welcome", "consent"]


def test_sounds_are_at_hand_before_they_are_played(tmp_path: Path) -> None:
    bench = stations.take_seat(tmp_path, stations.make_plan(n_practice=0))
    stations.walk(bench.sitting, *stations.OPENING)
    trial = bench.sitting.state.trial
    assert bench.player.prepared[-1].clips == trial.clips
    assert [program.clips for program in bench.player.prepared[:2]] == [
        (stations.LEVEL_CLIP,),
        stations.ANCHORS,
    ]


def test_a_thought_of_leaving_stops_what_sounds(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING)
    bench.player.at_once = False
    walk(bench.sitting, "play")
    assert bench.sitting.state.turn.running
    stopped = bench.player.stopped
    walk(bench.sitting, "leave")
    assert bench.player.stopped == stopped + 1
    assert not bench.sitting.state.turn.running


def test_who_leaves_is_written_down_as_having_left_at_once(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING, "leave")
    assert "left" not in [event.kind for event in bench.store.events()]
    walk(bench.sitting, "leave_now")
    assert bench.sitting.is_over
    assert [event.kind for event in bench.store.events()].count("left") == 1
