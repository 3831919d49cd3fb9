"""The same bits here, on two processes and on a Dask scheduler; a killed worker changes nothing; resume."""

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from stats.errors import BadData
from stats.repeats import places
from stats.repeats.refits import CHUNK, run, seeds

WANTED = seeds(11, 4 * CHUNK + 3)


def solver() -> Callable[[np.random.Generator], float]:
    # a closure travels to a process by value, so that the process need not import this module
    def draw(rng: np.random.Generator) -> float:
        return float(np.linalg.solve(rng.normal(size=(40, 40)), rng.normal(size=40)).sum())

    return draw


def killed_once(mark: Path) -> Callable[[np.random.Generator], float]:
    """The same draw, but the first process that gets there is killed, as by a full memory."""

    def draw(rng: np.random.Generator) -> float:
        try:
            os.close(os.open(mark, os.O_CREAT | os.O_EXCL))
        except FileExistsError:
            return float(np.linalg.solve(rng.normal(size=(40, 40)), rng.normal(size=40)).sum())
        os.kill(os.getpid(), signal.SIGKILL)
        raise AssertionError

    return draw


@pytest.fixture(scope="module")
def scheduler() -> Iterator[str]:
    distributed = pytest.importorskip(
        "distributed", reason="Dask is missing: pip install 'listening[cluster]'"
    )
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as cluster:
        yield cluster.scheduler_address


@pytest.fixture(params=[2, "scheduler"])
def where(request: pytest.FixtureRequest) -> int | str:
    return request.getfixturevalue("scheduler") if request.param == "scheduler" else int(request.param)


def test_every_place_gives_the_same_bits(where: int | str) -> None:
    here = run(solver(), WANTED, 1)
    there = run(solver(), WANTED, where)
    assert np.array(here).tobytes() == np.array(there).tobytes()


def test_a_worker_killed_in_mid_run_changes_nothing(where: int | str, tmp_path: Path) -> None:
    mark = tmp_path / "killed"
    there = run(killed_once(mark), WANTED, where)
    assert mark.exists()
    assert there == run(solver(), WANTED, 1)


@pytest.fixture
def ctrl_c() -> Iterator[None]:
    """Ctrl-C as in a terminal: a shell starts what runs in the background with it switched off."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("ctrl_c")
def test_a_run_stopped_by_ctrl_c_goes_on_from_what_was_done(where: int | str) -> None:
    kept: dict[int, list[float]] = {}

    def keep(number: int, results: list[float]) -> None:
        kept[number] = results
        if len(kept) == 2:
            signal.raise_signal(signal.SIGINT)  # Ctrl-C

    with pytest.raises(KeyboardInterrupt):
        run(solver(), WANTED, where, on_chunk=keep)
    again: list[int] = []
    finished = run(solver(), WANTED, where, done=kept, on_chunk=lambda number, _: again.append(number))
    assert finished == run(solver(), WANTED, 1)
    assert sorted([*again, *kept]) == list(range(5))  # nothing twice


def test_linear_algebra_keeps_to_one_thread_at_every_place(where: int | str) -> None:
    def most(_: np.random.Generator) -> int:
        from threadpoolctl import threadpool_info

        return max(pool["num_threads"] for pool in threadpool_info() if pool["user_api"] == "blas")

    assert {*run(most, WANTED[: 2 * CHUNK], where), *run(most, WANTED[:2], 1)} == {1}


def test_progress_counts_what_was_done_before() -> None:
    kept: dict[int, list[float]] = {}
    run(solver(), WANTED[:CHUNK], on_chunk=kept.__setitem__)
    told: list[tuple[int, int]] = []
    run(solver(), WANTED[: 2 * CHUNK], done=kept, on_progress=lambda *counts: told.append(counts))
    assert told == [(32, 32)]


def test_an_error_of_the_function_comes_back_as_it_is(where: int | str) -> None:
    def fail(_: np.random.Generator) -> float:
        raise ZeroDivisionError("in the function")

    with pytest.raises(ZeroDivisionError, match="in the function"):
        run(fail, WANTED, where)


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(places, "CONNECT_WITHIN_S", 0.2)
    with pytest.raises(places.PlaceLost, match=r"tcp://127.0.0.1:1: no Dask scheduler answers"):
        run(solver(), WANTED, "tcp://127.0.0.1:1")


@pytest.mark.parametrize("nowhere", [0, -1, "everywhere"])
def test_what_is_no_place_is_refused(nowhere: int | str) -> None:
    with pytest.raises(BadData, match="where is"):
        run(solver(), WANTED, nowhere)
