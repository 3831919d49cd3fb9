"""Several sessions of one listener: each a run of its own under one code, in the order dealt."""

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from listening.commands import desk
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.study import Study
from listening.session.seating import sessions_apart, station
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage
from listening.store import open_store
from tests.stations import OPENING, Bench, make_plan, one_trial, take_seat, walk, write_station

BACK = ("go_on", "play", "level_right", "play", "understood")
"""From the welcome of a later session to its first trial."""


def two_sessions(**changes: object) -> Plan:
    """Two trials in each session, one more of practice before the first."""
    plan = make_plan(n_trials=4, n_practice=1)
    slots = tuple(
        slot.model_copy(
            update={
                "trials": tuple(
                    trial.model_copy(update={"session": 1 if i < 3 else 2})
                    for i, trial in enumerate(slot.trials)
                )
            }
        )
        for slot in plan.slots
    )
    return plan.model_copy(update={"slots": slots, **changes}).sealed()


def first_session(folder: Path, plan: Plan) -> Bench:
    bench = take_seat(folder, plan)
    walk(bench.sitting, *OPENING)
    for _ in range(3):
        one_trial(bench.sitting)
    return bench


def again(bench: Bench, folder: Path) -> Bench:
    bench.die()
    return take_seat(folder, bench.sitting.plan)


def test_a_session_ends_and_the_next_one_goes_on_under_the_same_code(tmp_path: Path) -> None:
    bench = first_session(tmp_path, two_sessions())
    assert bench.sitting.stage is Stage.SESSION_OVER
    told = " ".join(bench.sitting.view().body)
    assert "Session 1 of 2" in told
    assert "L01" in told
    walk(bench.sitting, "end")
    assert bench.sitting.is_over
    assert not bench.sitting.state.is_finished
    bench = again(bench, tmp_path)
    walk(bench.sitting, *BACK)
    assert bench.sitting.state.session == 2
    assert bench.sitting.state.trial.trial == "004"
    for _ in range(2):
        one_trial(bench.sitting)
    assert bench.sitting.stage is Stage.GOODBYE
    walk(bench.sitting, "end")
    assert [a.trial for a in bench.store.answers()] == ["001", "002", "003", "004", "005"]
    assert bench.store.resume(listener="L01").finished_at is not None


def test_a_stop_before_the_last_words_of_a_session_loses_nothing(tmp_path: Path) -> None:
    bench = first_session(tmp_path, two_sessions())
    bench = again(bench, tmp_path)  # killed at the screen that ends the session
    walk(bench.sitting, *BACK)
    assert bench.sitting.state.trial.trial == "004"


def test_trials_and_progress_are_counted_within_the_session(tmp_path: Path) -> None:
    bench = first_session(tmp_path, two_sessions())
    bench = again(bench, tmp_path)
    walk(bench.sitting, *BACK)
    view = bench.sitting.view()
    assert "1 of 2" in view.heading
    assert view.share_done == 0.0


def test_each_session_explains_the_question_and_a_restart_inside_it_does_not(tmp_path: Path) -> None:
    bench = first_session(tmp_path, two_sessions())
    bench = again(bench, tmp_path)
    walk(bench.sitting, *BACK)
    bench = again(bench, tmp_path)
    walk(bench.sitting, "go_on", "play", "level_right")
    assert bench.sitting.stage is Stage.TRIAL


def test_the_next_session_may_not_begin_before_its_time(tmp_path: Path) -> None:
    plan = two_sessions(sessions_apart_h=16.0)
    bench = first_session(tmp_path, plan)
    assert "16 hours" in " ".join(bench.sitting.view().body)
    store, row = bench.store, bench.sitting.row
    over = next(event.at for event in store.events(row.id) if event.kind == "session over")
    with pytest.raises(StudyError, match="session 2 may begin 16 hours after the one before"):
        sessions_apart.check(plan, store, row, over)
    later = datetime.fromisoformat(over) + timedelta(hours=16)
    sessions_apart.check(plan, store, row, later.isoformat())
    with pytest.raises(StudyError, match="may begin"):
        again(bench, tmp_path)


def test_a_session_that_ended_in_the_future_keeps_nobody_out(tmp_path: Path) -> None:
    """The clock of the first day was years ahead: the second day's is right, and goes on with a note."""
    bench = first_session(tmp_path, two_sessions(sessions_apart_h=16.0))
    store, row = bench.store, bench.sitting.row
    over = next(event.at for event in store.events(row.id) if event.kind == "session over")
    earlier = datetime.fromisoformat(over) - timedelta(days=3000)
    sessions_apart.check(two_sessions(sessions_apart_h=16.0), store, row, earlier.isoformat())
    station.note_clock(store, row, earlier.isoformat())
    assert any("clock" in event.detail for event in store.events(row.id) if event.kind == "caution")
    almost = datetime.fromisoformat(over) - timedelta(seconds=60)  # two computers may differ by so much
    with pytest.raises(StudyError, match="may begin"):
        sessions_apart.check(two_sessions(sessions_apart_h=16.0), store, row, almost.isoformat())


def test_inside_a_session_nobody_waits(tmp_path: Path) -> None:
    plan = two_sessions(sessions_apart_h=16.0)
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    one_trial(bench.sitting)
    assert again(bench, tmp_path).sitting.stage is Stage.WELCOME


def on_desk(folder: Path, plan: Plan) -> tuple[Study, Bench]:
    study = write_station(folder, plan)
    return study, first_session(study.station, plan)


def test_the_desk_shows_who_owes_which_session(tmp_path: Path) -> None:
    plan = two_sessions()
    study, bench = on_desk(tmp_path, plan)
    walk(bench.sitting, "end")
    (row,) = desk.rows(study, plan)
    assert (row.state, row.session, row.owes) == ("owes session 2", "1 of 2", 2)


def test_who_comes_to_no_further_session_is_closed_by_the_desk(tmp_path: Path) -> None:
    plan = two_sessions()
    study, bench = on_desk(tmp_path, plan)
    walk(bench.sitting, "end")
    bench.die()
    store = open_store(study.answers)
    sessions_apart.miss(plan, store, "L01")
    with pytest.raises(StudyError, match="closed already"):
        sessions_apart.miss(plan, store, "L01")
    (row,) = desk.rows(study, plan)
    assert (row.state, row.owes) == ("missed the rest", None)
    with pytest.raises(StudyError, match="not coming again"):
        take_seat(study.station, plan, Seat("L01"))


def test_nobody_is_closed_in_the_middle_of_a_session_or_where_there_is_one(tmp_path: Path) -> None:
    plan = two_sessions()
    bench = take_seat(tmp_path, plan)
    walk(bench.sitting, *OPENING)
    one_trial(bench.sitting)
    bench.die()
    with pytest.raises(StudyError, match="in the middle of a session"):
        sessions_apart.miss(plan, bench.store, "L01")
    with pytest.raises(StudyError, match="no sitting of L99"):
        sessions_apart.miss(plan, bench.store, "L99")
    with pytest.raises(StudyError, match="one session"):
        sessions_apart.miss(make_plan(), bench.store, "L01")
