"""Answers are durable, unique, kept apart by sitting, and gone after a withdrawal."""

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from listening.errors import CannotWrite, MissingFile, RecordError, StudyError
from listening.records.dealt.answer import Answer
from listening.records.forms.environment import environment
from listening.store import SittingRow, Store, open_store, removal, tables
from listening.store.hold import hold

DIGEST = "d" * 64


@pytest.fixture
def store(place: Path | str) -> Iterator[Store]:
    made = open_store(place)
    yield made
    made.close()


@pytest.fixture
def file_store(tmp_path: Path) -> Store:
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


def test_another_connection_sees_the_answer_at_once(place: Path | str, store: Store) -> None:
    store.record(an_answer(begin(store)))
    assert len(open_store(place, create=False).answers()) == 1


def test_commits_are_synced_in_full(file_store: Store) -> None:
    with file_store._engine.connect() as connection:
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


def test_of_a_slot_that_was_given_again_the_last_sitting_is_found(file_store: Store) -> None:
    """A merge may bring two sittings of one slot into one store."""
    first, second = begin(file_store, "L01"), begin(file_store, "L02")
    with file_store._engine.begin() as connection:
        later = {"slot": first.slot, "started_at": "2999-01-01T00:00:00.000+00:00"}
        connection.execute(tables.sitting.update().where(tables.sitting.c.id == second.id).values(**later))
    found = file_store.resume(slot=first.slot)
    assert found is not None
    assert found.listener == "L02"


def test_two_holders_of_one_sitting_are_refused(place: Path | str, store: Store) -> None:
    row = begin(store)
    with store.hold(row.id), pytest.raises(StudyError, match="open in another process"):
        open_store(place).hold(row.id)
    with open_store(place).hold(row.id):
        pass  # free again


def test_locks_of_the_dead_are_swept_and_those_of_the_living_kept(tmp_path: Path) -> None:
    dead, other = tmp_path / "sitting-dead.lock", tmp_path / "sitting-other.lock"
    dead.touch()
    with hold(other, "other"), hold(tmp_path / "sitting-mine.lock", "mine"):
        assert not dead.exists()
        assert other.exists()
        with pytest.raises(StudyError, match="open in another process"):
            hold(other, "other")


def test_a_void_trial_is_in_the_events_and_beats_the_heart(store: Store) -> None:
    row = begin(store)
    store.void(row.id, "t1", "40 of 48000 frames missing")
    assert [(e.kind, e.trial, e.detail) for e in store.events(row.id)] == [
        ("began", None, environment()),
        ("void", "t1", "40 of 48000 frames missing"),
    ]
    assert store.sittings()[0].heartbeat_at is not None


def test_a_withdrawal_leaves_no_byte_of_the_listener(tmp_path: Path, file_store: Store) -> None:
    row, other = begin(file_store, "WITHDRAWER-77"), begin(file_store, "L02")
    file_store.record(an_answer(row, answer="second", attribute="withdrawn-mark"))
    file_store.record(an_answer(other))
    assert _anywhere(tmp_path, b"WITHDRAWER-77")  # the search can find it
    with file_store._engine.begin() as connection:  # an answer that came twice, as a merge may bring one
        again = {"sitting": row.id, "trial": "t1", "body": "answered-twice", "ref": "r"}
        connection.execute(tables.second_answer.insert(), again)
    assert _anywhere(tmp_path, b"withdrawn-mark")
    assert _anywhere(tmp_path, b"answered-twice")
    assert file_store.withdraw("WITHDRAWER-77") == [row.id]
    for mark in (b"WITHDRAWER-77", b"withdrawn-mark", b"answered-twice", row.id.encode()):
        assert not _anywhere(tmp_path, mark)
    assert [a.listener for a in file_store.answers()] == ["L02"]
    assert [e.kind for e in file_store.events()] == ["began", "removal"]  # the other's beginning


def test_a_withdrawal_says_that_another_program_keeps_old_pages(tmp_path: Path, file_store: Store) -> None:
    """A reader that began before holds the write-ahead log; after it ended nothing is left to say."""
    place = tmp_path / "answers.sqlite"
    begin(file_store)

    def no_wait(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA busy_timeout=0")

    from sqlalchemy import event

    event.listen(file_store._engine, "checkout", no_wait)
    other = sqlite3.connect(place, isolation_level=None)
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM sitting").fetchone()
    (said,) = removal.forget(file_store._engine, "here", just_removed=True)
    assert "another program has the store open and keeps old pages" in said
    other.close()
    assert removal.forget(file_store._engine, "here", just_removed=True) == []


def test_a_withdrawal_takes_the_rows_and_frees_the_slot(store: Store) -> None:
    row = begin(store, "L01")
    store.record(an_answer(row))
    store.note(row.id, "paused")
    assert store.withdraw("L01") == [row.id]
    assert (store.answers(), store.sittings()) == ([], [])
    assert [(e.kind, e.sitting) for e in store.events()] == [("removal", None)]
    assert begin(store, "L02").slot == row.slot


def test_what_is_answered_is_told_without_the_answers(store: Store) -> None:
    row = begin(store)
    store.record(an_answer(row, "t1", practice=True))
    store.record(an_answer(row, "t2"))
    assert store.answered(row.id) == {"t1": True, "t2": False}
    assert store.n_answers() == {row.id: 1}


def test_a_finished_sitting_says_when(store: Store) -> None:
    row = begin(store)
    store.finish(row.id)
    assert store.sittings()[0].finished_at is not None


def test_a_reader_holds_up_no_writer(file_store: Store) -> None:
    from listening.store.engine import reading

    with reading(file_store._engine, "here") as connection:
        connection.exec_driver_sql("SELECT 1")
        assert not connection.connection.dbapi_connection.in_transaction


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
    with pytest.raises(RecordError, match="not a whole answer store"):
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


def test_a_full_disk_stops_with_a_plain_error_and_keeps_what_was_stored(file_store: Store) -> None:
    row = begin(file_store)
    file_store.record(an_answer(row, "t1"))

    def no_more_pages(connection: sqlite3.Connection, *_: object) -> None:
        connection.execute("PRAGMA max_page_count=1")  # SQLite then says what it says on a full disk

    from sqlalchemy import event

    event.listen(file_store._engine, "checkout", no_more_pages)
    with pytest.raises(CannotWrite, match="full"):
        _fill(file_store, row)
    event.remove(file_store._engine, "checkout", no_more_pages)
    kept = [a.trial for a in file_store.answers()]
    assert kept == [f"t{i + 1}" for i in range(len(kept))]


def _fill(store: Store, row: SittingRow) -> None:
    for number in range(2, 500):
        store.record(an_answer(row, f"t{number}"))


def _anywhere(folder: Path, mark: bytes) -> bool:
    return any(mark in path.read_bytes() for path in folder.rglob("*") if path.is_file())


def test_openings_go_into_a_file_s_ledger_and_not_into_a_server_s(store: Store) -> None:
    """Analysts only read on a server; there the log beside the key tells of openings."""
    is_file = store._path is not None
    assert store.marks_openings is is_file
    begin(store)
    before = store.ledger_head()
    store.mark_opened("analysed")
    assert (store.ledger_head() != before) is is_file


@pytest.mark.parametrize(
    ("slots", "said"), [([5], "slot 5 is taken"), ([1, 2], "all 2 are taken")], ids=["one", "two"]
)
def test_who_finds_no_slot_is_told_which_are_taken(store: Store, slots: list[int], said: str) -> None:
    for number in range(len(slots)):
        store.start_sitting(f"L{number}", slots=slots, study_digest=DIGEST)
    with pytest.raises(StudyError, match=f"no slot is free: {said}"):
        store.start_sitting("LATE", slots=slots, study_digest=DIGEST)


def test_answers_of_one_sitting_are_told_from_the_others(store: Store) -> None:
    one, other = begin(store), begin(store, "L02")
    for row in (one, other):
        store.record(an_answer(row))
    assert [answer.listener for answer in store.answers(one.id)] == ["L01"]
    assert len(store.answers()) == 2
