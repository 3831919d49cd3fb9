"""The power goes while a sitting, a booth or a deal writes: nothing that was acknowledged is lost.

Each is run once under strace; then the disk is made up as it may lie after a cut before each later call, with
nothing but what was synced, and with parts of what was not (`tests/power.py`).
"""

import contextlib
import random
import shutil
import sqlite3
import sys
from pathlib import Path

import pytest

from tests import cuts, power
from tests.fuzz import study as small

strace = power.needed
SITS = """
from pathlib import Path
from tests.test_kill import SITS
space = {}
exec(SITS.partition("signal.signal")[0].replace("n_trials=2000", "n_trials=%d"), space)
space["sit"](Path("."))
"""
SPOOLS = """
from pathlib import Path
from listening.store.spool import Spool
spool = Spool(Path("spool.sqlite"))
for n in range(%d):
    spool.put("s", "answer", {"trial": n})
    print("stored", n, flush=True)
"""
EVERY = {"answers.sqlite": "SELECT trial FROM answer ORDER BY trial", "spool.sqlite": "SELECT n FROM outbox"}


def _acknowledged(call: power.Call) -> bool:
    return call.name == "write" and call.words.startswith("1<") and call.texts[0].startswith(b"stored")


def lost_after_cuts(folder: Path, place: Path, calls: list[power.Call], store: str, *, at_most: int) -> int:
    """How many cuts there were; fails at the first that loses an acknowledged row or breaks the store."""
    disk, acknowledged, n_cuts = power.Disk(folder), 0, 0
    chosen = set(cuts.some(len(calls), at_most))
    for number, call in enumerate(calls, start=1):
        acknowledged += _acknowledged(call)
        disk.take(call)
        if number not in chosen:
            continue
        for rng in (None, random.Random(number), random.Random(-number)):
            disk.after_a_cut(place, rng=rng)
            n_cuts += 1
            rows = _rows(place / store)
            assert rows >= acknowledged, f"cut after call {number} ({call.name}): {rows} of {acknowledged}"
            assert rows <= acknowledged + 1
    assert acknowledged
    return n_cuts


def _rows(path: Path) -> int:
    """Rows of a store as the next start finds it; 0 where it has not come to be."""
    if not path.is_file() or not path.stat().st_size:
        return 0
    with contextlib.closing(sqlite3.connect(path)) as store:
        assert store.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        if not store.execute("SELECT 1 FROM sqlite_master WHERE name IN ('answer', 'outbox')").fetchone():
            return 0
        return len(store.execute(EVERY[path.name]).fetchall())


def _of_one_run(tmp_path: Path, program: str) -> tuple[Path, list[power.Call]]:
    start, run = tmp_path / "start", tmp_path / "run"
    start.mkdir()
    run.mkdir()
    calls = power.traced(power.python(program), run, tmp_path / "log")
    inside = str(run)
    kept = [c for c in calls if inside in power._plain(c.words) or inside in c.made or _acknowledged(c)]
    shutil.rmtree(run)
    run.mkdir()
    return run, kept


@strace
def test_answers_acknowledged_before_a_power_cut_are_there_after_it(tmp_path: Path) -> None:
    run, calls = _of_one_run(tmp_path, SITS % 12)
    assert lost_after_cuts(run, tmp_path / "after", calls, "answers.sqlite", at_most=60)


@strace
def test_what_a_booth_has_spooled_before_a_power_cut_is_there_after_it(tmp_path: Path) -> None:
    run, calls = _of_one_run(tmp_path, SPOOLS % 12)
    assert lost_after_cuts(run, tmp_path / "after", calls, "spool.sqlite", at_most=60)


@strace
@pytest.mark.slow
@pytest.mark.parametrize(("program", "store"), [(SITS, "answers.sqlite"), (SPOOLS, "spool.sqlite")])
def test_no_cut_of_a_longer_run_loses_anything(tmp_path: Path, program: str, store: str) -> None:
    run, calls = _of_one_run(tmp_path, program % 150)
    n_cuts = lost_after_cuts(run, tmp_path / "after", calls, store, at_most=100_000)
    print(f"{n_cuts} cuts of {len(calls)} calls")


@strace
def test_a_store_that_does_not_sync_is_seen_to_lose_answers(tmp_path: Path) -> None:
    careless = "from sqlalchemy import event\nfrom sqlalchemy.engine import Engine\n" + (
        "@event.listens_for(Engine, 'connect')\ndef careless(made, _):\n"
        "    made.execute('PRAGMA synchronous=OFF')\n"
    )
    order = SPOOLS.replace("spool = ", "from listening.store import engine\n" + careless + "spool = ")
    run, calls = _of_one_run(tmp_path, order % 12)
    with pytest.raises((AssertionError, sqlite3.DatabaseError)):
        lost_after_cuts(run, tmp_path / "after", calls, "spool.sqlite", at_most=60)


@strace
@pytest.mark.slow
@pytest.mark.parametrize("command", ["deal", "again", "analyse"])
def test_what_a_finished_command_wrote_is_there_after_a_power_cut(tmp_path: Path, command: str) -> None:
    words = {"deal": ["deal", "."], "again": ["deal", ".", "--again", "a strike was wrong"]}
    run = tmp_path / "run"
    run.mkdir()
    small.make(run)
    if command == "deal":
        for name in ("station", "sealed"):
            shutil.rmtree(run / name)
        for path in (run / "record.jsonl", run / "findings.json", run / "history.json"):
            path.unlink(missing_ok=True)
    start = tmp_path / "start"
    small.copy(run, start)
    calls = power.traced(
        [sys.executable, "-m", "listening", *words.get(command, ["analyse", "."])], run, tmp_path / "log"
    )
    whole = cuts.contents(run)
    shutil.rmtree(run)
    small.copy(start, run)
    disk = power.Disk(run)
    for call in calls:
        disk.take(call)
    disk.after_a_cut(tmp_path / "after")
    after = cuts.contents(tmp_path / "after")
    passing = (".log", "-shm", "-wal")
    lost = sorted(n for n in whole if after.get(n) != whole[n] and not n.endswith(passing))
    assert not lost
