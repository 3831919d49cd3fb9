"""Run hostile cases: every command ends with 0, 1 or 2, in time, without a traceback or a control character.

python -m tests.fuzz.run --seed 1 --cases 2000 [--only KIND] [--case N]

The same seed gives the same cases. Each runs in a process forked from this one, in a fresh copy of a small
study; the environment's cases start an interpreter of their own. A case fails when it

- ends otherwise than 0, 1 or 2, says that the program has a fault, or shows a traceback;
- needs more than 10 s of processor time, or waits for something;
- prints a control character, or writes one into a text file;
- is refused (2) and changed a file all the same, or changes what only people write. A log may grow, and must
  begin as it did; a store may tell of the try, and must keep every answer, sitting and event.

No case can write outside the folder of the run (`confined.py`); where the kernel has no Landlock, words that
name a place outside are left out, and the last line says so.
"""

import argparse
import contextlib
import hashlib
import importlib
import os
import pkgutil
import random
import re
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import listening.commands
from listening import cli
from tests import cuts
from tests.fuzz import cases, confined, study, values

PROCESSOR_S = 10
WAIT_S = 90.0  # a busy machine may give less than all of a processor
MOST_BYTES = 6_000_000_000
WEIGHTS = {
    "protocol": 26,
    "recordings": 10,
    "table": 14,
    "sound": 12,
    "record": 12,
    "store": 8,
    "arguments": 14,
    "paths": 8,
    "environment": 2,
    "schema": 16,
    "draft": 4,
}
OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
GROWS = re.compile(r"(\.log|record\.jsonl|openings\.jsonl?|looks\.jsonl?)$")
PASSING = re.compile(r"(-wal|-shm|\.lock)$")
STORE = "answers.sqlite"
KEPT = {  # a sitting's heartbeat and lease may go on
    "answer": "SELECT * FROM answer",
    "event": "SELECT * FROM event",
    "sitting": "SELECT id FROM sitting",
}
Rows = frozenset[tuple[str, str]]
TEXTS = {".html", ".csv", ".md", ".json", ".toml", ".svg"}
PEOPLES = re.compile(r"^(ü/)?(protocol\.toml|about\.toml|table\.csv|sounds/.*)$")


@dataclass(frozen=True)
class Ended:
    """How a case ended."""

    code: int
    said: str
    processor_s: float
    waited: bool


def main() -> int:
    """Run the cases; 0 when none failed."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=int, default=2000)
    parser.add_argument("--only", choices=sorted(WEIGHTS))
    parser.add_argument("--case", type=int, help="this one alone, and all that it says")
    args = parser.parse_args()
    faults = run(args.seed, args.cases, only=args.only, case=args.case)
    return 1 if faults else 0


def run(seed: int, n_cases: int, *, only: str | None = None, case: int | None = None) -> list[str]:
    """The faults found, one text each; prints them as they are found."""
    started_s = time.monotonic()
    _load_everything()
    kinds: Counter[str] = Counter()
    codes: Counter[int] = Counter()
    faults: list[str] = []
    if not confined.version():
        values.PATHS = tuple(path for path in values.PATHS if not re.match(r"/|\.\.", path))
    with tempfile.TemporaryDirectory(prefix="fuzz-") as place:
        template, work = Path(place, "template"), Path(place, "work")
        template.mkdir()
        Path(place, "scratch").mkdir()
        study.make(template)
        for n in [case] if case is not None else range(n_cases):
            rng = random.Random(f"{seed}:{n}")
            kind = rng.choices(sorted(WEIGHTS), [WEIGHTS[k] for k in sorted(WEIGHTS)])[0]
            if only is not None and kind != only:
                continue
            study.copy(template, work)
            study.spoil_folder(work)
            made = cases.make(kind, work, rng)
            ended, found = _run_one(made, work)
            kinds[kind] += 1
            codes[ended.code] += 1
            for fault in found:
                faults.append(
                    f"case {n} ({kind}): {fault}: listening {_shown(made.words)} {made.environment or ''}"
                )
                print(faults[-1], f"\n    {_tail(ended.said)}", flush=True)
            if case is not None:
                print(_shown(made.words), made.environment, ended, sep="\n")
    shown = ", ".join(f"{n} {kind}" for kind, n in sorted(kinds.items()))
    print(f"{sum(kinds.values())} cases of seed {seed} ({shown}) in {time.monotonic() - started_s:.0f} s")
    if not confined.version():
        print("this kernel has no Landlock: words that name a place outside the run's folder were left out")
    print(f"exit codes {dict(sorted(codes.items()))}; {len(faults)} faults")
    return faults


def _run_one(made: cases.Case, work: Path) -> tuple[Ended, list[str]]:
    before, kept = _files(work), _kept(work)
    ended = _spawned(made, work) if made.spawned else _forked(made, work)
    after = _files(work)
    return ended, [
        *_said_wrongly(ended),
        *_harmed(before, after, ended.code),
        *_lost(kept, work, ended.code),
        *_written_wrongly(before, after, work),
    ]


def _said_wrongly(ended: Ended) -> list[str]:
    found = []
    if ended.waited:
        found.append("hangs")
    elif ended.code == -signal.SIGXCPU or ended.processor_s > PROCESSOR_S:
        found.append(f"takes {ended.processor_s:.0f} s")
    elif ended.code not in (0, 1, 2):
        found.append(f"ends with {ended.code}")
    if "Traceback (most" in ended.said or "a fault of this program" in ended.said:
        found.append("traceback")
    if match := OBEYED.search(ended.said):
        found.append(f"prints U+{ord(match[0]):04X}")
    return found


def _harmed(before: dict[str, str], after: dict[str, str], code: int) -> list[str]:
    """What was changed although refused, and what only people write and was changed."""
    changed = sorted(name for name, digest in before.items() if after.get(name) != digest)
    if code == 2:
        watched_closer = (GROWS.search(n) or PASSING.search(n) or n.endswith(STORE) for n in changed)
        others = (n for n, is_closer in zip(changed, watched_closer, strict=True) if not is_closer)
        return [f"refused, and changed {name}" for name in others][:1]
    return [f"changed {name}" for name in changed if PEOPLES.search(name)][:1]


def _kept(work: Path) -> dict[str, bytes | Rows]:
    """What must still be there after a refusal: how each log begins, the rows of each store."""
    files = [path for path in sorted(work.rglob("*")) if path.is_file()]
    made: dict[str, bytes | Rows] = {}
    for path in files:
        name = path.relative_to(work).as_posix()
        if GROWS.search(name):
            made[name] = path.read_bytes()
        elif name.endswith(STORE):
            made[name] = _rows(path)
    return made


def _lost(kept: dict[str, bytes | Rows], work: Path, code: int) -> list[str]:
    """Lines of logs and rows of stores that a refused command took away or changed."""
    if code != 2:
        return []
    found = []
    for name, had in kept.items():
        path = work / name
        if not path.is_file():
            found.append(f"refused, and removed {name}")
        elif isinstance(had, bytes):
            if not path.read_bytes().startswith(had):
                found.append(f"refused, and changed what stood in {name}")
        elif gone := had - _rows(path):
            found.append(f"refused, and {len(gone)} rows are gone from {name}, e.g. {sorted(gone)[0]}")
    return found[:1]


def _rows(path: Path) -> Rows:
    """Every answer, event and sitting of a store, read from a copy; its bytes where it cannot be read."""
    with tempfile.TemporaryDirectory(prefix="look-") as place:
        for part in (path, path.with_name(path.name + "-wal")):
            if part.is_file():
                shutil.copy(part, Path(place, part.name))
        try:
            with contextlib.closing(sqlite3.connect(Path(place, path.name))) as store:
                store.text_factory = bytes
                return frozenset(
                    (table, repr(row)) for table, asked in KEPT.items() for row in store.execute(asked)
                )
        except sqlite3.Error:
            return frozenset({("bytes", hashlib.sha256(path.read_bytes()).hexdigest())})


def _written_wrongly(before: dict[str, str], after: dict[str, str], work: Path) -> list[str]:
    for name, digest in after.items():
        is_copy = Path(name).name == "imported.csv" or digest in before.values()  # byte for byte what came
        if before.get(name) != digest and Path(name).suffix in TEXTS and not is_copy:
            match = OBEYED.search((work / name).read_text(encoding="utf-8", errors="replace"))
            if match:
                return [f"writes U+{ord(match[0]):04X} into {name}"]
    return []


def _files(work: Path) -> dict[str, str]:
    return cuts.contents(work)


def _forked(made: cases.Case, work: Path) -> Ended:
    said = work.parent / "said"
    said.unlink(missing_ok=True)
    pid = os.fork()
    if not pid:
        _child(made, work, said)
    waited, status, used = _wait(pid)
    with contextlib.suppress(ProcessLookupError):  # helpers that the case started and left
        os.killpg(pid, signal.SIGKILL)
    return Ended(os.waitstatus_to_exitcode(status), _read(said), used, waited)


def _child(made: cases.Case, work: Path, said: Path) -> None:
    code = 1
    try:
        os.setsid()
        sink = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(sink, 1)
        os.dup2(sink, 2)
        os.chdir(work)
        _confine(work.parent)
        tempfile.tempdir = os.environ["TMPDIR"] = str(work.parent / "scratch")
        resource.setrlimit(resource.RLIMIT_CPU, (PROCESSOR_S + 1, PROCESSOR_S + 2))
        resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
        os.environ["LISTENING_SHOW_FAULTS"] = "1"
        sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
        code = cli.main(made.words)
    except SystemExit as ending:
        code = ending.code if isinstance(ending.code, int) else 1
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def _confine(place: Path) -> None:
    """Only the run's own folder can be written, and where compiled code is kept."""
    if confined.version():
        root = Path(__file__).resolve().parents[2]
        confined.confine([place, *root.glob("stats/**/__pycache__"), *root.glob("listening/**/__pycache__")])


def _wait(pid: int) -> tuple[bool, int, float]:
    end = time.monotonic() + WAIT_S
    pause_s = 0.001
    while True:
        done, status, used = os.wait4(pid, os.WNOHANG)
        if done:
            return False, status, used.ru_utime + used.ru_stime
        if time.monotonic() > end:
            os.killpg(pid, signal.SIGKILL)
            _, status, used = os.wait4(pid, 0)
            return True, status, used.ru_utime + used.ru_stime
        time.sleep(pause_s)
        pause_s = min(pause_s * 1.5, 0.05)


def _spawned(made: cases.Case, work: Path) -> Ended:
    root = Path(__file__).resolve().parents[2]
    kept = {"PATH": os.environ["PATH"], "PYTHONPATH": str(root), "LISTENING_SHOW_FAULTS": "1"}
    kept |= {"TMPDIR": str(work.parent / "scratch"), "HOME": str(work.parent / "scratch")}
    words = [sys.executable, "-m", "listening", *made.words]
    started = resource.getrusage(resource.RUSAGE_CHILDREN)
    try:
        done = subprocess.run(
            words,
            env=kept | made.environment,
            cwd=work,
            capture_output=True,
            stdin=subprocess.DEVNULL,
            timeout=WAIT_S,
            preexec_fn=lambda: _confine(work.parent),
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        return Ended(-9, (error.stdout or b"").decode(errors="replace"), 0.0, True)
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = ended.ru_utime + ended.ru_stime - started.ru_utime - started.ru_stime
    form = "utf-16" if made.environment.get("PYTHONIOENCODING") == "utf-16" else "utf-8"
    said = _decoded(done.stdout + done.stderr, form)
    return Ended(done.returncode, said.replace("\ufeff", ""), used, False)


def _decoded(said: bytes, form: str) -> str:
    """In the form that was asked for, or in the one byte a sign that an old locale asks for."""
    try:
        return said.decode(form)
    except UnicodeDecodeError:
        return said.decode("latin-1")


def _read(said: Path) -> str:
    with said.open("rb") as file:
        return file.read(5_000_000).decode(errors="replace")


def _load_everything() -> None:
    """What a command imports when it runs is here before the forks, so that each costs milliseconds."""
    for package in (
        listening.commands,
        importlib.import_module("stats"),
        importlib.import_module("listening"),
    ):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            if not re.search(r"__main__|migrations|tui\.|probe|\.start$", module.name):
                importlib.import_module(module.name)
    importlib.import_module("matplotlib.pyplot")


def _shown(words: tuple[str, ...]) -> str:
    return " ".join(repr(word[:80]) if not word.isprintable() or " " in word else word[:80] for word in words)


def _tail(said: str) -> str:
    lines = [line for line in said.splitlines() if line.strip()]
    return "\n    ".join(repr(line[:160]) for line in lines[-6:])


if __name__ == "__main__":
    sys.exit(main())
