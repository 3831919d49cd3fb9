"""Booths as processes of their own, for the tests: they claim slots, answer, and tell what is kept."""

import multiprocessing
import os
import signal
import sys
import time
from collections.abc import Callable
from multiprocessing.synchronize import Barrier
from pathlib import Path

from listening.errors import ListeningError, StudyError
from listening.records.dealt.answer import Answer
from listening.store.booth import Booth, open_booth
from listening.store.engine import NotReached
from listening.store.store import SittingRow

DIGEST = "d" * 64
TRIALS = 12


def answer(row: SittingRow, trial: str, said: str) -> Answer:
    """An answer that says who gave it."""
    return Answer(
        sitting=row.id,
        listener=row.listener,
        slot=row.slot,
        trial=trial,
        attribute="brightness",
        task="paired comparison",
        clips=("c1", "c2"),
        answer=said,
        response_s=1.5,
        plays=1,
        practice=False,
        simulated=False,
        answered_at="2030-01-01T00:00:00.000+00:00",
    )


def tell(*words: object) -> None:
    """Print a whole line at once: the test reads it even when this process is killed."""
    os.write(1, (" ".join(map(str, words)) + "\n").encode())


def claim_all(url: str, name: str, folder: Path, n_slots: int, gate: Barrier) -> None:
    """Claim slots until none is left, from the moment at which all booths are open."""
    booth = open_booth(url, folder / f"{name}.sqlite")
    gate.wait()
    for n in range(n_slots):
        try:
            row = booth.start_sitting(f"{name}-{n}", slots=range(1, n_slots + 1), study_digest=DIGEST)
        except StudyError:
            break
        tell("slot", row.slot, name)
        booth.record(answer(row, "t1", "first"))
        booth.finish(row.id)
        booth.flush(within_s=60)  # one login holds no more than 32 sittings that are not finished
    booth.close(within_s=60)


def sit(url: str, name: str, folder: Path, slot: int) -> None:
    """Sit one slot to its end, from where it stopped; never gives up while the server is away."""
    booth = open_booth(url, folder / f"{name}.sqlite")
    row = _patiently(lambda: _seat(booth, name, slot))
    for trial in [
        t for t in (f"t{n}" for n in range(TRIALS)) if t not in _patiently(lambda: booth.answered(row.id))
    ]:
        booth.record(answer(row, trial, f"{name}"))
        tell("kept", trial)
        time.sleep(0.02)
    booth.finish(row.id)
    while booth.flush(1.0):
        pass
    tell("finished")
    booth.close()


def _seat(booth: Booth, name: str, slot: int) -> SittingRow:
    row = booth.resume(listener=name)
    return row or booth.start_sitting(name, slots=[slot], study_digest=DIGEST)


def _patiently(ask):  # type: ignore[no-untyped-def]
    while True:
        try:
            return ask()
        except (NotReached, ListeningError) as error:
            if not isinstance(error, NotReached) and "open in another" not in str(error):
                raise
            time.sleep(0.1)


def claim_at_once(url: str, folder: Path, n_booths: int, n_slots: int) -> None:
    """Many booths claim at the same time, each a process."""
    gate = multiprocessing.Barrier(n_booths)
    children = [fork(lambda n=n: claim_all(url, f"B{n}", folder, n_slots, gate)) for n in range(n_booths)]
    sys.exit(max(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children))


def nursery(url: str, folder: Path) -> None:
    """For each line `NAME SLOT FILE` on standard input start one booth; its pid is the reply."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        name, slot, out = line.split()
        print(fork(lambda: sit(url, name, folder, int(slot)), out), flush=True)  # noqa: B023 (forked at once)


def fork(act: Callable[[], None], out: str | None = None) -> int:
    """Run `act` in a new process, its output in the file `out`; the process id."""
    if pid := os.fork():
        return pid
    code = 1
    try:
        if out is not None:
            os.dup2(os.open(out, os.O_WRONLY | os.O_CREAT | os.O_APPEND), 1)
        act()
        code = 0
    except BaseException as error:
        tell("failed", repr(error))
    finally:
        os._exit(code)


if __name__ == "__main__":
    if sys.argv[1] == "nursery":
        nursery(sys.argv[2], Path(sys.argv[3]))
    else:
        claim_at_once(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]), int(sys.argv[5]))
