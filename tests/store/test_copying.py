"""A store copied to the other engine and back is the same; a merge refuses or keeps apart, never mixes."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from listening.errors import StudyError
from listening.records.dealt.answer import Answer
from listening.store import SittingRow, Store, copying, merging, open_store, tables
from listening.store.engine import reading

DIGEST = "d" * 64


def fill(store: Store, listeners: list[str], slots: list[int], said: str = "first") -> list[SittingRow]:
    rows = [
        store.start_sitting(name, slots=[slot], study_digest=DIGEST)
        for name, slot in zip(listeners, slots, strict=True)
    ]
    for row in rows:
        for n in range(3):
            store.record(an_answer(row, f"t{n}", said))
        store.note(row.id, "paused", trial="t1", detail="ümläut – 12 %")
    store.finish(rows[0].id)
    return rows


def an_answer(row: SittingRow, trial: str, said: str) -> Answer:
    return Answer(
        sitting=row.id,
        listener=row.listener,
        slot=row.slot,
        trial=trial,
        attribute="brightness",
        task="paired comparison",
        clips=("c1", "c2"),
        answer=said,
        response_s=1 / 3,
        plays=2,
        practice=trial == "t0",
        simulated=False,
        answered_at="2030-01-01T00:00:00.000+00:00",
    )


def digest(store: Store) -> str:
    with reading(store._engine, "here") as connection:
        return copying.digest(connection)


@pytest.fixture
def here(place: Path | str) -> Iterator[Store]:
    """The study that takes answers in, or gives them, on either engine."""
    store = open_store(place)
    yield store
    store.close()


@pytest.fixture
def there(tmp_path: Path) -> Iterator[Store]:
    store = open_store(tmp_path / "there.sqlite")
    yield store
    store.close()


def test_a_study_goes_to_a_server_and_back_without_loss(there: Store, database: str, tmp_path: Path) -> None:
    here = there
    fill(here, ["L01", "L02"], [1, 2])
    with here._engine.begin() as connection:
        row = {"sitting": "s", "trial": "t1", "body": '{"answer": "second"}', "ref": "r"}
        connection.execute(tables.second_answer.insert(), row)
    counts = copying.copy(tmp_path / "there.sqlite", database)
    assert (counts["sitting"], counts["answer"], counts["event"]) == (2, 6, 5)
    copying.copy(database, tmp_path / "back.sqlite")
    back, server = open_store(tmp_path / "back.sqlite"), open_store(database)
    assert digest(back) == digest(server) == digest(here)
    assert back.answers() == server.answers() == here.answers()
    row = server.start_sitting(
        "L03", slots=[1, 2, 3], study_digest=DIGEST
    )  # and the server goes on from there
    server.record(an_answer(row, "t0", "first"))
    assert (row.slot, len(server.answers())) == (3, 7)
    server.close()


def test_a_copy_never_goes_on_top_of_answers(
    here: Store, there: Store, place: Path | str, tmp_path: Path
) -> None:
    fill(here, ["L01"], [1])
    fill(there, ["L02"], [1])
    before = digest(there)
    with pytest.raises(StudyError, match="holds 1 sittings already"):
        copying.copy(place, tmp_path / "there.sqlite")
    assert digest(there) == before


def test_a_copy_that_reads_back_otherwise_leaves_nothing(
    here: Store, place: Path | str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fill(here, ["L01"], [1])
    numbers = iter(range(9))
    monkeypatch.setattr(copying, "digest", lambda _: str(next(numbers)))
    with pytest.raises(StudyError, match="reads back otherwise"):
        copying.copy(place, tmp_path / "new.sqlite")
    assert open_store(tmp_path / "new.sqlite").sittings() == []


def test_the_digest_sees_one_changed_cell(here: Store, there: Store) -> None:
    fill(here, ["L01"], [1])
    before = digest(here)
    with here._engine.begin() as connection:
        connection.exec_driver_sql("UPDATE answer SET response_s = response_s + 1e-15 WHERE trial = 't1'")
    assert digest(here) != before


def test_two_sites_with_their_own_slots_come_together(here: Store, there: Store) -> None:
    fill(here, ["L01", "L02"], [1, 2])
    fill(there, ["N01", "N02"], [3, 4])
    merged = merging.merge(here, there, site="north", study_digest=DIGEST)
    merging.name_own_site(here, "south")
    assert (merged.sittings, merged.answers, merged.renamed) == (2, 6, ())
    assert {(a.listener, a.site) for a in here.answers()} == {
        ("L01", "south"),
        ("L02", "south"),
        ("N01", "north"),
        ("N02", "north"),
    }
    assert here.start_sitting("L09", slots=[3, 4, 5], study_digest=DIGEST).slot == 5


def test_a_second_merge_of_the_same_site_adds_nothing(here: Store, there: Store) -> None:
    fill(here, ["L01"], [1])
    fill(there, ["N01"], [3])
    merging.merge(here, there, site="north", study_digest=DIGEST)
    before = here.answers()
    again = merging.merge(here, there, site="north", study_digest=DIGEST)
    assert (again.sittings, again.known) == (0, 1)
    assert here.answers() == before


def test_slots_and_codes_used_twice_are_refused_and_nothing_changes(here: Store, there: Store) -> None:
    fill(here, ["L01", "L02"], [1, 2])
    fill(there, ["L02", "N02"], [2, 3])
    before = digest(here)
    with pytest.raises(StudyError, match=r"1 slot.*\(2\).*1 listener code.*\(L02\)"):
        merging.merge(here, there, site="north", study_digest=DIGEST)
    assert digest(here) == before


def test_kept_apart_the_code_carries_the_site(here: Store, there: Store) -> None:
    fill(here, ["L01"], [1])
    fill(there, ["L01"], [1], said="second")
    merged = merging.merge(here, there, site="north", study_digest=DIGEST, keep_apart=True)
    assert (merged.renamed, merged.shared_slots) == (("L01",), (1,))
    said = {a.listener: a.answer for a in here.answers()}
    assert said == {"L01": "first", "L01@north": "second"}


def test_another_study_is_refused(here: Store, there: Store) -> None:
    fill(there, ["N01"], [3])
    with pytest.raises(StudyError, match="belongs to study dddddddddddd"):
        merging.merge(here, there, site="north", study_digest="e" * 64)


def test_a_sitting_that_went_on_after_the_first_merge_is_refused(here: Store, there: Store) -> None:
    (row,) = fill(there, ["N01"], [3])
    merging.merge(here, there, site="north", study_digest=DIGEST)
    there.record(an_answer(row, "t9", "first"))
    with pytest.raises(StudyError, match="3 answers and there with 4"):
        merging.merge(here, there, site="north", study_digest=DIGEST)


@pytest.mark.parametrize("act", ["copy", "merge"])
def test_a_store_that_is_written_to_meanwhile_is_read_at_one_instant(
    here: Store, place: Path | str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, act: str
) -> None:
    """A sitting with its answers comes between the reading of two tables: all of it is there, or nothing."""
    fill(here, ["L01"], [1])
    parts = "_chunks" if act == "copy" else "_Sitting"
    kind = copying if act == "copy" else merging
    before, came = getattr(kind, parts), []

    def slowly(*arguments: object, **more: object) -> object:
        if len(came) < 3:  # between the tables
            came.append(fill(here, [f"M{len(came)}"], [len(came) + 2]))
        return before(*arguments, **more)

    monkeypatch.setattr(kind, parts, slowly)
    if act == "merge":
        monkeypatch.setattr(merging, "select", _select_slowly(here, came))
    target = tmp_path / "target.sqlite"
    if act == "copy":
        counts = copying.copy(place, target)
        assert (counts["sitting"], counts["answer"]) == (1, 3)
    else:
        store = open_store(target)
        merged = merging.merge(store, here, site="north", study_digest=DIGEST)
        store.close()
        assert merged.answers == 3 * merged.sittings
    assert came


def _select_slowly(store: Store, came: list[object]) -> object:
    from sqlalchemy import select

    def slowly(*what: object) -> object:
        if len(came) < 3:
            came.append(fill(store, [f"N{len(came)}"], [len(came) + 10]))
        return select(*what)  # type: ignore[call-overload]

    return slowly


@pytest.mark.parametrize("act", ["copy", "merge"])
def test_answers_of_no_sitting_are_refused_plainly(tmp_path: Path, act: str) -> None:
    import sqlite3

    source, target = open_store(tmp_path / "a.sqlite"), open_store(tmp_path / "b.sqlite")
    fill(source, ["L01"], [1])
    source.close()
    with sqlite3.connect(tmp_path / "a.sqlite") as connection:
        connection.execute("UPDATE answer SET sitting = 'nobody' WHERE trial = 't1'")
        connection.execute(
            "INSERT INTO answer SELECT id + 9, 'nobody', 't9', attribute, task, clips, answer,"
            " response_s, plays, practice, answered_at, link, chain FROM answer LIMIT 1"
        )
    connection.close()
    if act == "copy":
        target.close()
        with pytest.raises(StudyError, match="do not belong together"):
            copying.copy(tmp_path / "a.sqlite", tmp_path / "b.sqlite")
    else:
        merging.merge(target, open_store(tmp_path / "a.sqlite"), site="x", study_digest=DIGEST)
        assert all(a.sitting != "nobody" for a in target.answers())  # what belongs to no sitting stays behind
