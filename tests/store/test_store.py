"""Answers are durable, unique, kept apart by sitting, and gone after a withdrawal."""

import os
import sqlite3
from pathlib import Path

import pytest

from listening.errors import CannotWrite, MissingFile, RecordError, StudyError
from listening.records.answer import Answer
from listening.store import SittingRow, Store, open_store

DIGEST = "d" * 64


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return open_store(tmp_path / "answers.sqlite")


def begin(store: Store, listener: str = "L01", **more: bool) -> SittingRow:
    return store.start_sitting(listener, slots=[1, 2], study_digest=DIGEST, **more)


def an_answer(row: SittingRow, trial: str = "t1", **changes: object) -> Answer:
    values: dict[str, object] = {
        "sitting": row.id,
        "listener": row.listener,
        "slot": row.slot,
        "trial": trial,
        "attribute": "brightness",
        "task": "paired comparison",
        "clips": ("c1", "c2"),
        "answer": "first",
        "response_s": 1.25,
        "plays": 2,
        "practice": False,
        "simulated": row.simulated,
        "answered_at": "2030-01-01T00:00:00.000+00:00",
    }
    return Answer.model_validate({**values, **changes})


def test_an_answer_is_read_back_as_it_was_given(store: Store) -> None:
    answer = an_answer(begin(store))
    store.record(answer)
    assert store.answers() == [answer]


def test_columns_hold_the_same_as_the_answers(store: Store) -> None:
    row = begin(store)
    for trial in ("t1", "t2"):
        store.record(an_answer(row, trial))
    columns = store.answer_columns()
    assert columns["trial"] == ["t1", "t2"]
    assert columns["clips"] == ["c1 c2", "c1 c2"]
    assert columns["listener"] == ["L01", "L01"]


def test_columns_of_an_empty_store_are_empty(store: Store) -> None:
    assert set(map(tuple, store.answer_columns().values())) == {()}


def test_another_connection_sees_the_answer_at_once(tmp_path: Path, store: Store) -> None:
    store.record(an_answer(begin(store)))
    assert len(open_store(tmp_path / "answers.sqlite", create=False).answers()) == 1


def test_commits_are_synced_in_full(tmp_path: Path, store: Store) -> None:
    with store._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA secure_delete").scalar() == 1


def test_a_trial_takes_one_answer_only(store: Store) -> None:
    row = begin(store)
    store.record(an_answer(row))
    with pytest.raises(StudyError, match="has an answer already"):
        store.record(an_answer(row, answer="second"))
    assert [a.answer for a in store.answers()] == ["first"]


def test_a_slot_is_given_once(store: Store) -> None:
    assert [begin(store, "L01").slot, begin(store, "L02").slot] == [1, 2]
    with pytest.raises(StudyError, match="no slot is free: all 2 are taken"):
        begin(store, "L03")


def test_a_simulated_panel_takes_no_slot_from_people(store: Store) -> None:
    begin(store, "L01", simulated=True)
    assert begin(store, "L01").slot == 1


def test_a_listener_sits_once(store: Store) -> None:
    begin(store)
    with pytest.raises(StudyError, match="L01 has a sitting already"):
        begin(store)


def test_a_sitting_is_found_by_listener_or_slot(store: Store) -> None:
    row = begin(store)
    assert store.resume(listener="L01") == row == store.resume(slot=1)
    assert store.resume(listener="L02") is None


def test_two_holders_of_one_sitting_are_refused(store: Store) -> None:
    row = begin(store)
    with store.hold(row.id), pytest.raises(StudyError, match="open in another process"):
        store.hold(row.id)
    with store.hold(row.id):
        pass  # free again


def test_a_void_trial_is_in_the_events_and_beats_the_heart(store: Store) -> None:
    row = begin(store)
    store.void(row.id, "t1", "40 of 48000 frames missing")
    assert [(e.kind, e.trial, e.detail) for e in store.events(row.id)] == [
        ("void", "t1", "40 of 48000 frames missing")
    ]
    assert store.sittings()[0].heartbeat_at is not None


def test_a_withdrawal_leaves_no_byte_of_the_listener(tmp_path: Path, store: Store) -> None:
    row, other = begin(store, "WITHDRAWER-77"), begin(store, "L02")
    store.record(an_answer(row, answer="second", attribute="withdrawn-mark"))
    store.record(an_answer(other))
    assert _anywhere(tmp_path, b"WITHDRAWER-77")  # the search can find it
    assert _anywhere(tmp_path, b"withdrawn-mark")
    assert store.withdraw("WITHDRAWER-77") == [row.id]
    for mark in (b"WITHDRAWER-77", b"withdrawn-mark", row.id.encode()):
        assert not _anywhere(tmp_path, mark)
    assert [a.listener for a in store.answers()] == ["L02"]
    assert [e.kind for e in store.events()] == ["removal"]


def test_an_unknown_listener_cannot_withdraw(store: Store) -> None:
    with pytest.raises(StudyError, match="no listener L99"):
        store.withdraw("L99")


def test_a_missing_store_is_named(tmp_path: Path) -> None:
    with pytest.raises(MissingFile, match="no answers yet"):
        open_store(tmp_path / "answers.sqlite", create=False)


def test_a_file_that_is_no_store_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "answers.sqlite"
    path.write_text("these are notes, no database, long enough to be looked at" * 20)
    before = path.read_bytes()
    with pytest.raises(RecordError, match="no sound answer store"):
        open_store(path)
    assert path.read_bytes() == before


def test_a_missing_folder_is_a_plain_error(tmp_path: Path) -> None:
    with pytest.raises(CannotWrite, match="cannot be used"):
        open_store(tmp_path / "nowhere" / "answers.sqlite")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_folder_is_a_plain_error(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(CannotWrite, match="cannot be used"):
        open_store(tmp_path / "answers.sqlite")


def test_a_full_disk_stops_with_a_plain_error_and_keeps_what_was_stored(store: Store) -> None:
    row = begin(store)
    store.record(an_answer(row, "t1"))

    def no_more_pages(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA max_page_count=1")  # SQLite then says what it says on a full disk

    from sqlalchemy import event

    event.listen(store._engine, "checkout", no_more_pages)
    with pytest.raises(CannotWrite, match="full"):
        _fill(store, row)
    event.remove(store._engine, "checkout", no_more_pages)
    kept = [a.trial for a in store.answers()]
    assert kept == [f"t{i + 1}" for i in range(len(kept))]


def _fill(store: Store, row: SittingRow) -> None:
    for number in range(2, 500):
        store.record(an_answer(row, f"t{number}"))


def _anywhere(folder: Path, mark: bytes) -> bool:
    return any(mark in path.read_bytes() for path in folder.rglob("*") if path.is_file())
