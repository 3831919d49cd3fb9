"""Twenty copies and twenty merges from a server at which booths are sitting: each is one instant, whole."""

import os
import signal
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from listening.store import Store, copying, functions, merging, open_store, publishing, walk
from tests.store import booth_process
from tests.store.booth_process import DIGEST

N_BOOTHS, N_ROUNDS, N_SLOTS = 4, 20, 400
pytestmark = pytest.mark.slow


def _sits_on(url: str, name: str, folder: Path) -> None:
    """One sitting after another, answers as fast as the server takes them."""
    booth = booth_process.open_booth(url, folder / f"{name}.sqlite")
    for n in range(N_SLOTS):
        row = booth.start_sitting(f"{name}-{n}", slots=range(1, N_SLOTS + 1), study_digest=DIGEST)
        for trial in range(20):
            booth.record(booth_process.answer(row, f"t{trial}", "first"))
            time.sleep(0.005)
        booth.finish(row.id)
        booth.flush(within_s=60)


@pytest.fixture
def sitting(database: str, as_user: Callable[[str, str], str], tmp_path: Path) -> Iterator[Store]:
    """The server's store as its owner sees it, while booths write."""
    store = open_store(database)
    publishing.publish(
        store,
        study_digest=DIGEST,
        protocol_digest="p" * 64,
        slots=range(1, N_SLOTS + 1),
        at="2030-01-01T00:00:00+00:00",
    )
    with store._engine.begin() as connection:
        functions.make_roles(connection)
    url = as_user(database, "booth")
    booths = [
        booth_process.fork(lambda n=n: _sits_on(url, f"B{n}", tmp_path), str(tmp_path / f"said{n}"))  # type: ignore[misc]
        for n in range(N_BOOTHS)
    ]
    while sum(store.n_answers().values()) < 20:
        time.sleep(0.05)
    yield store
    for pid in booths:
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
    store.close()


def _whole(store: Store) -> tuple[int, int]:
    """Every chain from its beginning to its end, every finished sitting with all its answers."""
    walked = walk.walk(store, is_chained=True)
    assert not walked.faults, walked.faults[:3]
    answers = Counter(answer.sitting for answer in store.answers())
    rows = store.sittings()
    assert set(answers) <= {row.id for row in rows}
    assert all(answers[row.id] == 20 for row in rows if row.finished_at)
    return len(rows), sum(answers.values())


def test_twenty_copies_under_writing_booths_are_whole(sitting: Store, database: str, tmp_path: Path) -> None:
    seen = []
    for n in range(N_ROUNDS):
        copying.copy(database, tmp_path / f"copy{n}.sqlite")
        store = open_store(tmp_path / f"copy{n}.sqlite", create=False)
        seen.append(_whole(store))
        store.close()
    assert len({n_answers for _, n_answers in seen}) > N_ROUNDS // 2  # they wrote meanwhile
    assert seen == sorted(seen)


def test_twenty_merges_from_writing_booths_are_whole(sitting: Store, database: str, tmp_path: Path) -> None:
    counts = []
    for n in range(N_ROUNDS):
        target = open_store(tmp_path / f"target{n}.sqlite")
        merged = merging.merge(target, sitting, site="north", study_digest=DIGEST)
        counts.append(merged.answers)
        assert _whole(target)[1] == merged.answers
        target.close()
    assert len(set(counts)) > N_ROUNDS // 2
