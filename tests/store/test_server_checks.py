"""What one booth's login may do to a server: its own sittings, as a sitting writes them, and nothing else.

Each attack is SQL of somebody who has that login and no other right.
"""

import ast
import importlib
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from listening.errors import RecordError, StudyError
from listening.records.dealt.answer import Answer
from listening.records.protocols import sessions
from listening.store import Store, checked, functions, open_store
from listening.store.booth import open_booth
from listening.store.engine import connect, reading, writing
from listening.store.spool import Spool

DIGEST = "d" * 64
AT = "2030-01-01T00:00:00.000+00:00"
TOKEN = "a" * 32
RECORD = f"booth_record(CAST(:body AS jsonb), '{TOKEN}')"
ROOT = Path(__file__).resolve().parents[2]
ANSWER = {
    "sitting": "i" * 32,
    "trial": "t1",
    "attribute": "brightness",
    "task": "paired comparison",
    "clips": "c1 c2",
    "answer": "first",
    "response_s": 1.5,
    "plays": 2,
    "practice": False,
    "answered_at": AT,
}


@pytest.fixture
def desk(database: str) -> Iterator[Store]:
    store = open_store(database)
    with writing(store._engine, database) as connection:
        functions.make_roles(connection)
        slots = "INSERT INTO slot (slot, simulated) SELECT n, false FROM generate_series(1, 40) n"
        connection.execute(text(slots))
    yield store
    store.close()


@pytest.fixture
def booth(desk: Store, database: str, as_user: Callable[[str, str], str]) -> Iterator[Engine]:
    engine = connect(as_user(database, "booth"), durable=True)
    yield engine
    engine.dispose()


def _call(engine: Engine, call: str, **values: object) -> object:
    with engine.begin() as connection:
        return connection.scalar(text(f"SELECT {call}"), values)


def _claim(engine: Engine, **changes: object) -> object:
    values = {"id": "i" * 32, "listener": "L01", "slots": [1, 2], "study": DIGEST, "at": AT, "lease": 120.0}
    values |= {"token": TOKEN} | changes
    claim = "booth_claim(:id, :listener, :slots, :study, false, :at, 'h', :lease, :token)"
    return _call(engine, claim, **values)


def _refused(engine: Engine, act: Callable[[], object]) -> bool:
    try:
        act()
    except DBAPIError as error:
        return getattr(error.orig, "sqlstate", "") == "LT003" or "invalid input" in str(error)
    return False


BAD_CODES = ("<b>x</b>", "\x1b[31m", "=cmd", "", "a b", "x" * 65, "L01\n", "-" * 65, "ü")


@pytest.mark.parametrize(
    "changes",
    [
        *({"listener": code} for code in BAD_CODES),
        {"at": "yesterday"},
        {"at": "2030-13-01T00:00:00+00:00"},
        {"at": "infinity"},
        {"at": None},
        {"id": "<script>"},
        {"study": "'; --"},
        {"slots": []},
    ],
    ids=repr,
)
def test_a_claim_that_no_booth_makes_is_refused(
    booth: Engine, desk: Store, changes: dict[str, object]
) -> None:
    assert _refused(booth, lambda: _claim(booth, **changes))
    assert desk.sittings() == []


@pytest.mark.parametrize(
    "changes",
    [
        {"clips": "x"},
        {"clips": "c1 c2 c3"},
        {"clips": None},
        {"response_s": "NaN"},
        {"response_s": -1},
        {"response_s": 1e300},
        {"response_s": None},
        {"plays": 1.5},
        {"plays": -1},
        {"plays": "many"},
        {"practice": "maybe"},
        {"practice": None},
        {"answered_at": "now"},
        {"trial": "\x1b]0;x\x07"},
        {"trial": ["t1"]},
        {"task": ""},
        {"attribute": "x" * 300},
        {"answer": {"a": 1}},
        {"link": -5},
        {"chain": "<b>"},
    ],
    ids=repr,
)
def test_an_answer_that_no_sitting_gives_is_refused(
    booth: Engine, desk: Store, changes: dict[str, object]
) -> None:
    _claim(booth)
    body = json.dumps(ANSWER | changes)
    assert _refused(booth, lambda: _call(booth, RECORD, body=body))
    assert desk.answers() == []
    assert _call(booth, RECORD, body=json.dumps(ANSWER)) == "stored"
    assert len(desk.answers()) == 1


@pytest.mark.parametrize("kind", ["removal", "second answer", "merged", "renamed", "", "x\x1b", "CLOSED"])
def test_no_booth_forges_what_a_store_writes_down(booth: Engine, desk: Store, kind: str) -> None:
    _claim(booth)
    note = f"booth_note(:id, 'r', :at, :kind, NULL, '', 1, 'x', '{TOKEN}')"
    assert _refused(booth, lambda: _call(booth, note, id="i" * 32, at=AT, kind=kind))
    assert desk.events() == []


@pytest.mark.parametrize("detail", ["\x1b[2J", "x" * 30_000, None])
def test_a_note_carries_text_alone(booth: Engine, desk: Store, detail: str | None) -> None:
    _claim(booth)
    note = f"booth_note(:id, 'r', :at, 'paused', NULL, :detail, 1, 'x', '{TOKEN}')"
    assert _refused(booth, lambda: _call(booth, note, id="i" * 32, at=AT, detail=detail))


@pytest.mark.parametrize("lease_s", [1e12, float("inf"), float("nan")])
def test_a_lease_ends_in_ten_minutes_whatever_was_asked(booth: Engine, desk: Store, lease_s: float) -> None:
    _claim(booth, lease=lease_s)
    _call(booth, f"booth_hold(:id, 'h', :lease, '{TOKEN}')", id="i" * 32, lease=lease_s)
    _call(booth, f"booth_beat(:id, 'h', :at, :lease, '{TOKEN}')", id="i" * 32, at=AT, lease=lease_s)
    with reading(desk._engine, "") as connection:
        left = connection.scalar(text("SELECT max(held_until - server_s()) FROM sitting"))
    assert left is not None
    assert 0 < float(left) <= 600


def test_one_login_does_not_take_every_slot(booth: Engine, desk: Store) -> None:
    for n in range(32):
        _claim(booth, id=f"{n:032d}", listener=f"L{n}", slots=list(range(1, 41)))
    with pytest.raises(DBAPIError, match="too many"):
        _claim(booth, id="x" * 32, listener="L99", slots=list(range(1, 41)))


def test_a_sitting_whose_lease_ran_out_stays_its_login_s_until_the_desk_hands_it_over(
    desk: Store, database: str, as_user: Callable[[str, str], str], tmp_path: Path
) -> None:
    first = open_booth(as_user(database, "booth"), tmp_path / "1.sqlite")
    row = first.start_sitting("L01", slots=[1], study_digest=DIGEST)
    with writing(desk._engine, "") as connection:
        connection.execute(text("UPDATE sitting SET held_until = 0"))
        connection.execute(
            text(
                "DO $$ BEGIN IF NOT EXISTS (SELECT 1 FROM pg_roles WHERE rolname = 'user_other') THEN "
                "CREATE ROLE user_other LOGIN; GRANT listening_booth TO user_other; END IF; END $$"
            )
        )
    elsewhere = as_user(database, "booth").replace("user_booth", "user_other")
    second = open_booth(elsewhere, tmp_path / "2.sqlite")
    with pytest.raises(StudyError, match="hand it over"):
        second.resume(listener="L01")
    with pytest.raises(StudyError):
        second.hold(row.id)
    desk_store = Store(connect(as_user(database, "desk"), durable=True), database, None, lambda: AT)
    desk_store.hand_over("L01")
    found = second.resume(listener="L01")
    assert found is not None
    assert found.id == row.id
    second.hold(row.id)
    for one in (first, second):
        one.close(within_s=0)
    desk_store.close()


def test_a_booth_s_clock_far_ahead_does_not_keep_a_listener_out(booth: Engine, desk: Store) -> None:
    _claim(booth)
    _call(booth, f"booth_beat(:id, 'h', '2099-01-01T00:00:00+00:00', 9, '{TOKEN}')", id="i" * 32)
    late = "'2099-01-01T00:00:00+00:00', 'paused', NULL, '', 1, 'x'"
    _call(booth, f"booth_note(:id, 'r', {late}, '{TOKEN}')", id="i" * 32)
    with reading(desk._engine, "") as connection:
        assert connection.scalar(text("SELECT heartbeat_at < '2090' FROM sitting"))


def test_a_message_that_the_server_refuses_holds_up_no_other(
    desk: Store, database: str, as_user: Callable[[str, str], str], tmp_path: Path
) -> None:
    booth = open_booth(as_user(database, "booth"), tmp_path / "spool.sqlite")
    row = booth.start_sitting("L01", slots=[1], study_digest=DIGEST)
    booth.note(row.id, "no such kind")
    answer = ANSWER | {
        "sitting": row.id,
        "clips": ("c1", "c2"),
        "listener": "L01",
        "slot": 1,
        "simulated": False,
    }
    booth.record(Answer.model_validate(answer))
    assert booth.flush(60) == 0
    assert booth.refused() == 1
    booth.close(within_s=0)
    assert len(desk.answers()) == 1
    assert Spool(tmp_path / "spool.sqlite").n_apart() == 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE sitting SET started_at = 'x'", "table sitting, column started_at: found 'x'"),
        ("UPDATE sitting SET listener = '=cmd'", "table sitting, column listener"),
        ("UPDATE answer SET response_s = 'NaN'", "column response_s: found nan"),
        ("UPDATE answer SET clips = 'x'", "2 clips for paired comparison"),
        ("UPDATE answer SET trial = E'\\x1b[31m'", "column trial"),
        ("UPDATE answer SET answered_at = ''", "column answered_at"),
    ],
)
def test_a_value_that_came_in_some_other_way_is_named(
    booth: Engine, desk: Store, change: str, said: str
) -> None:
    _claim(booth)
    _call(booth, RECORD, body=json.dumps(ANSWER))
    with writing(desk._engine, "") as connection:
        connection.execute(text(change))
    with pytest.raises(RecordError, match=said):
        (desk.sittings(), desk.answers())
    if "answer SET" in change:
        with pytest.raises(RecordError, match=said):
            desk.answer_columns()


def test_every_kind_that_a_sitting_notes_is_one_that_the_server_takes() -> None:
    """A kind may stand as a text, or as a constant of the file or of a module that it imports."""
    by_the_desk = {sessions.MISSED}  # no booth sends it
    written = {
        kind
        for path in (*(ROOT / "listening/session").rglob("*.py"), ROOT / "listening/store/booth.py")
        for kind in _noted(path)
    }
    assert {"session over", "taken back", "comment", "sent", "void"} <= written
    assert written - by_the_desk <= checked.BOOTH_KINDS


def _noted(path: Path) -> Iterator[str]:
    name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in ("_note", "note"):
            for word in node.args[:2]:
                if isinstance(word, ast.Constant):
                    yield str(word.value)
                elif ast.unparse(word).rpartition(".")[2].isupper():
                    yield str(eval(ast.unparse(word), vars(importlib.import_module(name))))


def test_after_a_withdrawal_by_the_desk_the_owner_is_named(
    desk: Store, booth: Engine, database: str, as_user: Callable[[str, str], str]
) -> None:
    _claim(booth)
    at_desk = Store(connect(as_user(database, "desk"), durable=True), database, None, lambda: AT)
    at_desk.withdraw("L01")
    left = at_desk.forget(just_removed=True)
    assert len(left) == 1
    assert "until its owner" in left[0]
    assert "VACUUM FULL answer" in left[0]
    assert desk.forget(just_removed=True) == []
    at_desk.close()


# two booths of one login: each knows the other's listener's code and even its sitting's id, but not its token

MINE, OTHERS = "a" * 32, "b" * 32
VICTIM = "v" * 32
HOSTILE = (
    "NULL", "''", "' '", "'\x1b[2J'", "E'\\n'", "'<script>'", "'%'", "'_'", "'/'", "'///'", "'NaN'",
    "'infinity'", "'''; DROP TABLE answer; --'", "repeat('x', 1000000)", "'-1'", "'1e308'", "'\u202e'",
    "'{}'", "'[]'", "'null'", "'user_booth'", f"'user_booth/{OTHERS}/h'", f"'{VICTIM}'",
    "'L01'", f"'{OTHERS}'",
)  # fmt: skip
BODY = json.dumps(ANSWER | {"sitting": VICTIM})
CALLS: dict[str, tuple[str, ...]] = {  # every function, in good order but by the wrong booth
    "booth_claim": (
        "'{v}'", "'L01'", "ARRAY[1, 2, 3]", f"'{DIGEST}'", "false", f"'{AT}'", "'h'", "600", "'{t}'",
    ),
    "booth_hold": ("'{v}'", "'h'", "600", "'{t}'"),
    "booth_release": ("'{v}'", "'h'", "'{t}'"),
    "booth_beat": ("'{v}'", "'h'", f"'{AT}'", "600", "'{t}'"),
    "booth_find": ("'L01'", "'{v}'", "false", "'h'", "'{t}'"),
    "booth_answered": ("'{v}'", "'{t}'"),
    "booth_events": ("'{v}'", "'{t}'"),
    "booth_head": ("'{v}'", "'{t}'"),
    "booth_record": ("'{body}'::jsonb", "'{t}'"),
    "booth_note": ("'{v}'", "'r9'", f"'{AT}'", "'closed'", "NULL", "''", "9", "'x'", "'{t}'"),
    "booth_slots": ("false",),
}  # fmt: skip


@pytest.fixture
def victim(booth: Engine, desk: Store) -> dict[str, object]:
    """A sitting of another booth of the same login, with an answer, its lease run out; as it stands."""
    _claim(booth, id=VICTIM, listener="L01", token=MINE)
    _call(booth, RECORD, body=BODY)
    with writing(desk._engine, "") as connection:
        connection.execute(text("UPDATE sitting SET held_until = 0"))
    return _standing(desk)


def _standing(desk: Store) -> dict[str, object]:
    """Every row about the victim, and all answers."""
    queries = {
        "sitting": f"SELECT * FROM sitting WHERE id = '{VICTIM}' OR listener = 'L01'",
        "slot": f"SELECT * FROM slot WHERE sitting = '{VICTIM}'",
        "answer": "SELECT * FROM answer",
        "second": "SELECT * FROM second_answer",
        "event": f"SELECT * FROM event WHERE sitting = '{VICTIM}'",
        "ledger": "SELECT * FROM ledger WHERE kind <> 'began'",
    }
    with reading(desk._engine, "") as connection:
        return {name: connection.execute(text(q)).all() for name, q in queries.items()}


def _attack(engine: Engine, name: str, arguments: tuple[str, ...], token: str) -> str:
    """What came back, or the code of the refusal."""
    words = [a.replace("{v}", VICTIM).replace("{t}", token).replace("{body}", BODY) for a in arguments]
    try:
        with engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL statement_timeout = '10s'")
            rows = connection.exec_driver_sql(f"SELECT * FROM {name}({', '.join(words)})".replace("%", "%%"))
            return str(rows.all())
    except DBAPIError as error:
        return str(getattr(error.orig, "sqlstate", error))


@pytest.mark.parametrize("name", list(CALLS))
def test_a_booth_can_do_nothing_to_another_s_sitting_of_its_login(
    booth: Engine, desk: Store, victim: dict[str, object], name: str
) -> None:
    """With the other's code and id, without its token: nothing changes, and nothing of it comes out."""
    said = _attack(booth, name, CALLS[name], OTHERS)
    assert _standing(desk) == victim, said
    assert not [x for x in (VICTIM, "L01", "'t1'") if x in said], said


PLAIN = {
    "LT001",
    "LT002",
    "LT003",
    "LT004",
    "LT005",
    "22P02",
    "22007",
    "23505",
}  # said in words; bad literals


@pytest.mark.parametrize("name", list(CALLS))
def test_hostile_values_in_every_place_of_every_function_change_nothing(
    booth: Engine, desk: Store, victim: dict[str, object], name: str
) -> None:
    """Each argument in turn, all others as the owner of the sitting would send them, but for the token."""
    arguments, seen = CALLS[name], set()
    for place in range(len(arguments)):
        for value in HOSTILE:
            # a value that is itself the victim's token is not known to the attacker
            words = (*arguments[:place], value, *arguments[place + 1 :])
            said = _attack(booth, name, words, OTHERS)
            assert _standing(desk) == victim, (name, place, value, said)
            assert VICTIM not in said, (name, place, value)
            if len(said) == 5:
                seen.add(said)
    assert seen <= PLAIN | {"22P05", "42804", "22003", "42883", "22023"}, seen  # wrong type of literal


def test_what_a_booth_took_down_before_its_sitting_was_handed_over_still_counts(
    desk: Store, database: str, as_user: Callable[[str, str], str], tmp_path: Path
) -> None:
    """The desk hands over while the first booth has an answer that it could not send yet."""
    url = as_user(database, "booth")
    first, second, third = (open_booth(url, tmp_path / f"{n}.sqlite") for n in range(3))
    row = first.start_sitting("L01", slots=[1], study_digest=DIGEST)
    assert first.flush(60) == 0
    desk.hand_over("L01")
    found = second.resume(listener="L01")
    assert found is not None
    with second.hold(row.id):
        body = {k: v for k, v in ANSWER.items() if k != "sitting"} | {"clips": ("c1", "c2")}
        common = {"sitting": row.id, "listener": "L01", "slot": 1, "simulated": False}
        first.record(Answer(**{**body, **common}))  # type: ignore[arg-type]
        assert (first.flush(60), first.refused()) == (0, 0)
        second.record(Answer(**{**body, **common, "trial": "t2"}))  # type: ignore[arg-type]
        assert second.flush(60) == 0
        third._heads[row.id] = (7, "x")
        third.record(Answer(**{**body, **common, "trial": "t3"}))  # type: ignore[arg-type]
        third.flush(60)
    assert third.refused() == 1
    assert [a.trial for a in desk.answers()] == ["t1", "t2"]
    for one in (first, second, third):
        one.close(within_s=0)


def test_one_sitting_holds_no_endless_rows(booth: Engine, desk: Store) -> None:
    _claim(booth)
    with writing(desk._engine, "") as connection:
        many = "SELECT :id, :at, 'paused', '' FROM generate_series(1, 20000)"
        insert = f"INSERT INTO event (sitting, at, kind, detail) {many}"
        connection.execute(text(insert), {"id": "i" * 32, "at": AT})
    note = f"booth_note(:id, 'r', :at, 'paused', NULL, '', 1, 'x', '{TOKEN}')"
    assert _refused(booth, lambda: _call(booth, note, id="i" * 32, at=AT))
