"""What one booth's login may do to a server: its own sittings, as a sitting writes them, and nothing else.

Each attack is SQL of somebody who has that login and no other right.
"""

import ast
import json
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from listening.errors import RecordError, StudyError
from listening.records.answer import Answer
from listening.store import Store, checked, functions, open_store
from listening.store.booth import open_booth
from listening.store.engine import connect, reading, writing
from listening.store.spool import Spool

DIGEST = "d" * 64
AT = "2030-01-01T00:00:00.000+00:00"
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
    values |= changes
    return _call(engine, "booth_claim(:id, :listener, :slots, :study, false, :at, 'h', :lease)", **values)


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
    assert _refused(booth, lambda: _call(booth, "booth_record(CAST(:body AS jsonb))", body=body))
    assert desk.answers() == []
    assert _call(booth, "booth_record(CAST(:body AS jsonb))", body=json.dumps(ANSWER)) == "stored"
    assert len(desk.answers()) == 1


@pytest.mark.parametrize("kind", ["removal", "second answer", "merged", "renamed", "", "x\x1b", "CLOSED"])
def test_no_booth_forges_what_a_store_writes_down(booth: Engine, desk: Store, kind: str) -> None:
    _claim(booth)
    note = "booth_note(:id, 'r', :at, :kind, NULL, '', 1, 'x')"
    assert _refused(booth, lambda: _call(booth, note, id="i" * 32, at=AT, kind=kind))
    assert desk.events() == []


@pytest.mark.parametrize("detail", ["\x1b[2J", "x" * 30_000, None])
def test_a_note_carries_text_alone(booth: Engine, desk: Store, detail: str | None) -> None:
    _claim(booth)
    note = "booth_note(:id, 'r', :at, 'paused', NULL, :detail, 1, 'x')"
    assert _refused(booth, lambda: _call(booth, note, id="i" * 32, at=AT, detail=detail))


@pytest.mark.parametrize("lease_s", [1e12, float("inf"), float("nan")])
def test_a_lease_ends_in_ten_minutes_whatever_was_asked(booth: Engine, desk: Store, lease_s: float) -> None:
    _claim(booth, lease=lease_s)
    _call(booth, "booth_hold(:id, 'h', :lease)", id="i" * 32, lease=lease_s)
    _call(booth, "booth_beat(:id, 'h', :at, :lease)", id="i" * 32, at=AT, lease=lease_s)
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
    _call(booth, "booth_beat(:id, 'h', '2099-01-01T00:00:00+00:00', 9)", id="i" * 32)
    _call(booth, "booth_note(:id, 'r', '2099-01-01T00:00:00+00:00', 'paused', NULL, '', 1, 'x')", id="i" * 32)
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
    _call(booth, "booth_record(CAST(:body AS jsonb))", body=json.dumps(ANSWER))
    with writing(desk._engine, "") as connection:
        connection.execute(text(change))
    with pytest.raises(RecordError, match=said):
        (desk.sittings(), desk.answers())
    if "answer SET" in change:
        with pytest.raises(RecordError, match=said):
            desk.answer_columns()


def test_every_kind_that_a_sitting_notes_is_one_that_the_server_takes() -> None:
    written = set()
    for path in (*(ROOT / "listening/session").glob("*.py"), *(ROOT / "listening/store").glob("booth.py")):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and getattr(node.func, "attr", "") in ("_note", "note"):
                kinds = [a for a in node.args[:2] if isinstance(a, ast.Constant)]
                written |= {str(k.value) for k in kinds}
    assert written
    assert written <= checked.BOOTH_KINDS


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
