"""Many booths on one server: no slot twice, none lost; kills and restarts lose no answer."""

import itertools
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from sqlalchemy import text

from listening.store import Store, functions, open_store
from listening.store.engine import connect, writing

PROGRAM = Path(__file__).with_name("booth_process.py")
ROOT = Path(__file__).parents[2]
N_BOOTHS, N_SLOTS = 20, 400
N_SEATS_AT_LEAST = 4


@pytest.fixture
def desk(database: str) -> Iterator[Store]:
    store = open_store(database)
    with writing(store._engine, database) as connection:
        functions.make_roles(connection)
        slots = f"SELECT n, false FROM generate_series(1, {N_SLOTS}) n"
        connection.execute(text(f"INSERT INTO slot (slot, simulated) {slots}"))
    yield store
    store.close()


@pytest.fixture
def booth_url(desk: Store, database: str, as_user: Callable[[str, str], str]) -> str:
    return as_user(database, "booth")


def program(*words: object) -> subprocess.Popen[str]:
    pipe = subprocess.PIPE
    line = [sys.executable, str(PROGRAM), *map(str, words)]
    return subprocess.Popen(line, stdin=pipe, stdout=pipe, text=True, cwd=ROOT)


def test_twenty_booths_share_400_slots_without_one_given_twice_or_lost(
    booth_url: str, desk: Store, tmp_path: Path
) -> None:
    booths = program("claim", booth_url, tmp_path, N_BOOTHS, N_SLOTS)
    out, _ = booths.communicate(timeout=300)
    assert booths.returncode == 0, out
    given = [line.split() for line in out.splitlines() if line.startswith("slot")]
    slots = [int(slot) for _, slot, _ in given]
    assert sorted(slots) == list(range(1, N_SLOTS + 1))
    assert sorted(row.slot for row in desk.sittings()) == sorted(slots)
    assert len(desk.answers()) == N_SLOTS
    assert len({name for _, _, name in given}) > N_BOOTHS / 2  # they did work at the same time


def test_a_naive_claim_gives_slots_twice(database: str, desk: Store) -> None:
    """The control: read a free slot, then take it. The test above must be able to fail."""
    given: list[int] = []

    def claim() -> None:
        engine = connect(database, durable=True)
        for _ in range(10):
            with engine.begin() as connection:
                free = connection.scalar(text("SELECT min(slot) FROM slot WHERE sitting IS NULL"))
                connection.execute(text(f"UPDATE slot SET sitting = 'x' WHERE slot = {free}"))
                given.append(int(free))
        engine.dispose()

    with ThreadPoolExecutor(N_BOOTHS) as pool:
        list(pool.map(lambda _: claim(), range(N_BOOTHS)))
    assert max(Counter(given).values()) > 1


@pytest.mark.parametrize(
    ("n_kills", "n_restarts"),
    [(20, 2), pytest.param(200, 20, marks=pytest.mark.slow)],
    ids=["a tenth", "all"],
)
def test_killed_booths_and_a_restarting_server_lose_and_double_nothing(
    server, booth_url: str, desk: Store, tmp_path: Path, n_kills: int, n_restarts: int
) -> None:
    chance = random.Random(9)
    kept: dict[str, set[str]] = {}
    kills = threading.Semaphore(n_kills)
    nursery, asking = program("nursery", booth_url, tmp_path), threading.Lock()

    def start(name: str, slot: int, out: Path) -> int:
        with asking:
            assert nursery.stdin is not None
            assert nursery.stdout is not None
            print(name, slot, out, file=nursery.stdin, flush=True)
            return int(nursery.stdout.readline())

    def listener(name: str, slot: int) -> None:
        """Sits until finished; its process is killed at random moments while kills are left."""
        for turn in itertools.count():
            out = tmp_path / f"{name}-{turn}.txt"
            pid = start(name, slot, out)
            if kills.acquire(blocking=False):
                time.sleep(chance.uniform(0.02, 0.5))
                if not _killed(pid):
                    kills.release()
            _wait(pid)
            said = out.read_text() if out.exists() else ""
            kept.setdefault(name, set()).update(
                x.split()[1] for x in said.splitlines() if x.startswith("kept")
            )
            assert "failed" not in said, said
            if "finished" in said:
                return
            _free_leases(server)

    def seat(n: int) -> None:
        """The next listener, as long as kills or restarts are left."""
        if n <= N_SEATS_AT_LEAST or kills_left() or restarts.is_alive():
            listener(f"L{n}", n)

    def kills_left() -> bool:
        if left := kills.acquire(blocking=False):
            kills.release()
        return left

    restarts = threading.Thread(target=_restart, args=(server, n_restarts))
    restarts.start()
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(seat, range(1, N_SLOTS + 1)))
    assert not kills_left()  # each struck a booth that lived
    restarts.join()
    n_listeners = len(kept)
    nursery.kill()
    nursery.communicate()
    stored = [(a.listener, a.trial) for a in desk.answers()]
    assert {(name, trial) for name, trials in kept.items() for trial in trials} <= set(stored)  # none lost
    assert len(stored) == len(set(stored)) == n_listeners * 12  # none doubled, none missing
    assert all(a.answer == a.listener for a in desk.answers())


def _killed(pid: int) -> bool:
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:  # it had finished before
        return False
    return True


def _wait(pid: int) -> None:
    while Path(f"/proc/{pid}").exists():
        time.sleep(0.01)


def _restart(server, n_restarts: int) -> None:  # type: ignore[no-untyped-def]
    for _ in range(n_restarts):
        time.sleep(1.0)
        server.control("restart", "-m", "immediate")


def _free_leases(server) -> None:  # type: ignore[no-untyped-def]
    """As if two minutes had gone by since the kill."""
    for _ in range(50):
        try:
            server.sql("UPDATE sitting SET held_until = 0 WHERE holder IS NOT NULL")
        except Exception:
            time.sleep(0.1)
        else:
            return
