"""A store of an older form is brought up whole; one of a later form is refused."""

import sqlite3
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from listening.errors import RecordError
from listening.store import open_store, schema
from listening.store.engine import connect, writing

OLD_ROWS = (
    "INSERT INTO sitting (id, listener, slot, simulated, study_digest, started_at) VALUES"
    " ('s1', 'L01', 2, false, 'd', '2030-01-01T00:00:00.000+00:00')",
    "INSERT INTO answer (sitting, trial, attribute, task, clips, answer, response_s, plays, practice,"
    " answered_at) VALUES"
    " ('s1', 't1', 'brightness', 'paired comparison', 'c1 c2', 'first', 1.5, 2, false, '2030-01-01T00:00Z')",
    "INSERT INTO event (sitting, at, kind, trial, detail) VALUES "
    "('s1', '2030-01-01T00:00Z', 'paused', NULL, '')",
)


def an_old_store(place: Path | str) -> None:
    """A store in the first form, with one sitting in it."""
    engine = connect(place, durable=True)
    with writing(engine, str(place)) as connection:
        from alembic import command

        config = Config()
        config.set_main_option("script_location", str(Path(schema.__file__).parent / "migrations"))
        config.attributes["connection"] = connection
        command.upgrade(config, schema.FIRST)
        connection.execute(text(f"DROP TABLE {schema.MARK}"))  # the first form holds no mark
        for row in OLD_ROWS:
            connection.execute(text(row))
    engine.dispose()


def test_an_old_store_is_brought_up_and_keeps_everything(place: Path | str) -> None:
    an_old_store(place)
    store = open_store(place)
    assert [(a.listener, a.trial, a.answer, a.response_s) for a in store.answers()] == [
        ("L01", "t1", "first", 1.5)
    ]
    assert [e.kind for e in store.events("s1")] == ["paused"]
    found = store.resume(slot=2)
    assert found is not None
    assert found.listener == "L01"
    assert store.start_sitting("L02", slots=[2, 3], study_digest="d").slot == 3
    store.close()


def test_a_migrated_store_has_the_form_of_a_new_one(place: Path | str, tmp_path: Path) -> None:
    an_old_store(place)
    open_store(place).close()
    new = tmp_path / "new.sqlite"
    open_store(new).close()
    assert _form(place) == _form(new)


def _form(place: Path | str) -> dict[str, list[tuple[str, bool]]]:
    engine = connect(place, durable=True)
    look = inspect(engine)
    return {
        table: sorted((c["name"], bool(c["nullable"])) for c in look.get_columns(table))
        + sorted((str(u["column_names"]), False) for u in look.get_unique_constraints(table))
        for table in sorted(look.get_table_names())
    }


def test_a_store_of_a_later_form_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "answers.sqlite"
    open_store(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9000'")
    with pytest.raises(RecordError, match="form 9000, this program knows forms up to"):
        open_store(path)


@pytest.mark.parametrize("mark", ["", "0000", "nan", "0003-x", "x" * 9000, "\x1b[1m", "99"])
def test_a_store_whose_mark_says_nothing_known_is_refused_and_left_alone(tmp_path: Path, mark: str) -> None:
    place = tmp_path / "answers.sqlite"
    open_store(place).close()
    with sqlite3.connect(place) as connection:
        connection.execute(f"UPDATE {schema.MARK} SET version_num = ?", (mark,))
    connection.close()
    with pytest.raises(RecordError, match="wanted 0001 to") as refused:
        open_store(place)
    assert "\x1b" not in str(refused.value)


def test_the_current_form_is_the_newest_migration() -> None:
    config = Config()
    config.set_main_option("script_location", str(Path(schema.__file__).parent / "migrations"))
    assert ScriptDirectory.from_config(config).get_current_head() == schema.CURRENT


def test_a_migration_that_fails_leaves_the_old_store_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "answers.sqlite"
    an_old_store(path)

    def stop(*_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr(
        "alembic.operations.base.BatchOperations.create_unique_constraint", stop, raising=False
    )
    with pytest.raises(RuntimeError, match="power"):
        open_store(path)
    monkeypatch.undo()
    engine = create_engine(f"sqlite:///{path}")
    assert "slot" not in inspect(engine).get_table_names()
    engine.dispose()
    assert len(open_store(path).answers()) == 1


def test_when_a_study_was_published_is_kept_under_todays_word(place: Path | str) -> None:
    engine = connect(place, durable=True)
    with writing(engine, str(place)) as connection:
        from alembic import command

        config = Config()
        config.set_main_option("script_location", str(Path(schema.__file__).parent / "migrations"))
        config.attributes["connection"] = connection
        command.upgrade(config, "0004")
        connection.execute(text("INSERT INTO study VALUES ('d', 'p', '2030-01-01T00:00Z')"))
    engine.dispose()
    store = open_store(place)
    with store._engine.connect() as connection:
        assert connection.scalar(text("SELECT published_at FROM study")) == "2030-01-01T00:00Z"
    store.close()
