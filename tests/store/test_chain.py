"""Each change of a store's rows is found by walking its chains, on either engine, and named with its row."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import insert, select, text

from listening.records.dealt.answer import Answer
from listening.store import SittingRow, Store, chain, open_store, tables
from listening.store.engine import writing
from listening.store.walk import Walked, walk

DIGEST = "d" * 64


def answered(store: Store, row: SittingRow, trial: int, word: str = "first") -> None:
    """One answer of a sitting."""
    store.record(
        Answer(
            sitting=row.id,
            listener=row.listener,
            slot=row.slot,
            trial=f"{trial:03d}",
            attribute="brightness",
            task="paired comparison",
            clips=("aaaa", "bbbb"),
            answer=word,
            response_s=1.1 + trial / 3,
            plays=2,
            practice=trial == 1,
            simulated=False,
            answered_at=f"2030-01-01T00:00:{trial:02d}.000+00:00",
        )
    )


@pytest.fixture
def store(place: Path | str) -> Iterator[Store]:
    """Three listeners, two of whom finished, with five answers and some events each."""
    made = open_store(place)
    for slot, listener in enumerate(("L01", "L02", "L03")):
        row = made.start_sitting(listener, slots=[slot], study_digest=DIGEST)
        for trial in range(1, 6):
            made.note(row.id, "exposure", detail=f"{trial}")
            answered(made, row, trial, "first" if trial % 2 else "second")
        if slot < 2:
            made.finish(row.id)
    yield made
    made.close()


def changed(store: Store, *lines: str) -> Walked:
    """What is found after SQL was run behind the store's back."""
    with writing(store._engine, store._place) as connection:
        for line in lines:
            connection.execute(text(line))
    return walk(store, is_chained=True)


def test_a_store_as_written_has_no_fault(store: Store) -> None:
    walked = walk(store, is_chained=True)
    assert walked.faults == ()
    assert [entry.kind for entry in walked.ledger] == ["began", "began", "finished", "began", "finished"][
        :0
    ] or [entry.kind for entry in walked.ledger] == ["began", "finished", "began", "finished", "began"]
    assert walked.head in walked.hashes
    assert set(walked.heads.values()) <= walked.hashes


COPIED = "sitting, attribute, task, clips, answer, response_s, plays, practice, answered_at"
CHANGES: dict[str, tuple[str, ...]] = {
    "a turned answer": ("UPDATE answer SET answer = 'second' WHERE id = 3",),
    "two swapped answers": (
        "UPDATE answer SET answer = 'second' WHERE id = 3",
        "UPDATE answer SET answer = 'first' WHERE id = 4",
    ),
    "swapped clips": ("UPDATE answer SET clips = 'bbbb aaaa' WHERE id = 3",),
    "practice made counted": ("UPDATE answer SET practice = false WHERE id = 1",),
    "a time to answer": ("UPDATE answer SET response_s = 1.2 WHERE id = 3",),
    "a re-stamped answer": ("UPDATE answer SET answered_at = '2030-01-01T00:00:03.001+00:00' WHERE id = 3",),
    "plays": ("UPDATE answer SET plays = 3 WHERE id = 3",),
    "another trial": ("UPDATE answer SET trial = '033' WHERE id = 3",),
    "an answer taken out": ("DELETE FROM answer WHERE id = 3",),
    "the last answer taken out": ("DELETE FROM answer WHERE id = 15",),
    "the last rows taken out": (
        "DELETE FROM answer WHERE id = 15",
        "DELETE FROM event WHERE id = (SELECT max(id) FROM event)",
    ),
    "an event taken out": ("DELETE FROM event WHERE id = 3",),
    "a changed event": ("UPDATE event SET detail = 'x' WHERE id = 3",),
    "a changed environment": ("UPDATE event SET detail = 'listening 0' WHERE id = 1",),
    "a re-stamped event": ("UPDATE event SET at = '2031' WHERE id = 3",),
    "an answer put in": (
        f"INSERT INTO answer (id, trial, {COPIED}) SELECT 99, '099', {COPIED} FROM answer WHERE id = 3",
    ),
    "an answer put in with a link": (
        f"INSERT INTO answer (id, trial, link, chain, {COPIED})"
        f" SELECT 99, '099', link, chain, {COPIED} FROM answer WHERE id = 3",
    ),
    "an answer given to another listener": (
        "UPDATE answer SET trial = '077', sitting = (SELECT id FROM sitting WHERE listener = 'L02')"
        " WHERE id = 3",
    ),
    "a whole sitting taken out": (
        "DELETE FROM answer WHERE sitting = (SELECT id FROM sitting WHERE listener = 'L02')",
        "DELETE FROM event WHERE sitting = (SELECT id FROM sitting WHERE listener = 'L02')",
        "UPDATE slot SET sitting = NULL WHERE slot = 1",
        "DELETE FROM sitting WHERE listener = 'L02'",
    ),
    "simulated made human": ("UPDATE sitting SET simulated = true WHERE listener = 'L01'",),
    "listeners' codes swapped": (
        "UPDATE sitting SET listener = 'tmp' WHERE listener = 'L01'",
        "UPDATE sitting SET listener = 'L01' WHERE listener = 'L02'",
        "UPDATE sitting SET listener = 'L02' WHERE listener = 'tmp'",
    ),
    "another site": ("UPDATE sitting SET site = 'north' WHERE listener = 'L01'",),
    "unfinished made finished": (
        "UPDATE sitting SET finished_at = '2030-01-01T00:00Z' WHERE listener = 'L03'",
    ),
    "finished made unfinished": ("UPDATE sitting SET finished_at = NULL WHERE listener = 'L01'",),
    "finished at another time": ("UPDATE sitting SET finished_at = '2031' WHERE listener = 'L01'",),
    "begun at another time": ("UPDATE sitting SET started_at = '2031' WHERE listener = 'L01'",),
    "another slot": ("UPDATE sitting SET slot = 7 WHERE listener = 'L01'",),
    "a freed slot": ("UPDATE slot SET sitting = NULL WHERE slot = 0",),
    "a slot led elsewhere": (
        "UPDATE slot SET sitting = (SELECT id FROM sitting WHERE listener = 'L02') WHERE slot = 0",
    ),
    "another deal": (f"UPDATE sitting SET study_digest = '{'e' * 64}' WHERE listener = 'L01'",),
    "a head": ("UPDATE sitting SET head = 'ab' WHERE listener = 'L03'",),
    "links cut to nothing": (
        "UPDATE answer SET link = NULL, chain = NULL",
        "UPDATE event SET link = NULL, chain = NULL",
        "UPDATE sitting SET links = 0, head = ''",
    ),
    "the ledger's last row": ("DELETE FROM ledger WHERE n = 5",),
    "a row of the ledger": ("DELETE FROM ledger WHERE n = 2",),
    "a changed row of the ledger": ("UPDATE ledger SET at = '2031' WHERE n = 2",),
    "no ledger at all": ("DELETE FROM ledger",),
    "a removal made up": (
        "INSERT INTO event (id, at, kind, detail) VALUES "
        "(99, '2030-01-01T00:00Z', 'removal', 'one listener withdrew')",
    ),
    "a note of the store": (
        "INSERT INTO event (id, sitting, at, kind, detail) VALUES (99, NULL, '2030-01-01T00:00Z', 'x', '')",
    ),
}


@pytest.mark.parametrize("change", list(CHANGES))
def test_every_change_behind_the_stores_back_is_named(store: Store, change: str) -> None:
    walked = changed(store, *CHANGES[change])
    assert walked.faults, change
    tables = ("answer", "event", "sitting", "slot", "ledger")
    assert any(name in fault for fault in walked.faults for name in tables)


def test_a_changed_answer_is_named_with_its_row_and_trial_and_nothing_else(store: Store) -> None:
    walked = changed(store, *CHANGES["a turned answer"])
    assert walked.faults == ("answer row 3: sitting of L01 (slot 0): not what was written down (trial 003)",)


def test_a_row_of_no_sitting_is_named_and_nothing_else(store: Store) -> None:
    walked = changed(
        store, "INSERT INTO event (id, sitting, at, kind, detail) VALUES (99, 'gone', '2030', 'x', '')"
    )
    assert walked.faults == ("event row 99: of a sitting that is not there",)


def test_answers_that_stand_in_another_order_are_named_and_nothing_else(store: Store) -> None:
    swapped = ("SET id = 100 WHERE id = 3", "SET id = 3 WHERE id = 4", "SET id = 4 WHERE id = 100")
    walked = changed(store, *(f"UPDATE answer {line}" for line in swapped))
    whose = "sitting of L01 (slot 0)"
    assert walked.faults == (f"answer row 4: {whose}: stands in another order than it was written in",)


def test_two_answers_that_both_follow_on_one_row_are_named_and_nothing_else(store: Store) -> None:
    """As they would where one sitting went on at two booths: each hash is right."""
    with writing(store._engine, store._place) as connection:
        query = select(tables.answer).where(tables.answer.c.id == 15)
        last = dict(connection.execute(query).one()._mapping)
        (before,) = connection.scalars(
            text(
                f"SELECT chain FROM event WHERE link = {last['link'] - 1} "
                "AND sitting = (SELECT id FROM sitting WHERE listener = 'L03')"
            )
        )
        other = {**last, "id": 99, "trial": "006"}
        other["chain"] = chain.link(before, last["link"], chain.ANSWER, other)
        connection.execute(insert(tables.answer), other)
    (fault,) = walk(store, is_chained=True).faults
    assert fault.startswith(
        "answer row 15 and answer row 99: sitting of L03 (slot 2): both follow on one row"
    )


def test_a_sitting_moved_to_another_site_is_named_and_nothing_else(store: Store) -> None:
    walked = changed(store, *CHANGES["another site"])
    assert walked.faults == (
        "sitting: that of L01 (slot 0): listener, slot, site, start or being human is not what was written "
        "down",
    )


def test_a_withdrawal_leaves_whole_chains_and_its_place_in_the_ledger(store: Store) -> None:
    store.withdraw("L02")
    walked = walk(store, is_chained=True)
    assert walked.faults == ()
    assert walked.ledger[-1].kind == chain.REMOVED
    again = store.start_sitting("L09", slots=[1], study_digest=DIGEST)
    answered(store, again, 1)
    assert walk(store, is_chained=True).faults == ()


def test_a_removal_taken_out_of_the_events_is_named(store: Store) -> None:
    store.withdraw("L02")
    walked = changed(store, "DELETE FROM event WHERE sitting IS NULL")
    assert any("removal" in fault for fault in walked.faults)


def test_a_store_goes_on_after_it_was_closed(store: Store, place: Path | str) -> None:
    again = open_store(place)
    row = again.resume(listener="L03")
    assert row is not None
    answered(again, row, 6)
    again.finish(row.id)
    assert walk(again, is_chained=True).faults == ()
    assert again.head(row.id) == walk(again, is_chained=True).heads[chain.mark(row.id)]
    again.close()


def test_a_whole_chain_made_again_holds_and_has_another_head(store: Store) -> None:
    """What is inherent: who rewrites every hash is found only by a head that was kept."""
    before = walk(store, is_chained=True)
    row = store.resume(listener="L03")
    assert row is not None
    with writing(store._engine, store._place) as connection:
        connection.execute(text("DELETE FROM answer WHERE id = 15"))
        connection.execute(
            text(
                "UPDATE sitting SET links = links - 1,"
                " head = (SELECT chain FROM event ORDER BY id DESC LIMIT 1) WHERE listener = 'L03'"
            )
        )
    after = walk(store, is_chained=True)
    assert after.faults == ()
    assert before.heads[chain.mark(row.id)] not in after.hashes
