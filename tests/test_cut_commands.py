"""Each command cut before its steps and run again: nothing is harmed, and it ends as if never cut.

In a fork, before every rename, sync and removal that Python makes; under strace (`make slow`) before those
that SQLite makes too, by a real SIGKILL.
"""

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from listening import cli
from listening.records.forms import form
from listening.stimuli import folder
from listening.store import copying, open_store
from listening.store.engine import reading
from tests import cuts
from tests.fuzz import study as small

ROOT = Path(__file__).resolve().parents[1]
strace = pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not on this machine")
# what each command may write; everything else must stay byte for byte through cut and second run
SOUNDS = ["sounds/a1.wav", "sounds/b1.wav"]
SLOW = ("prepare", "measure", "report", "picture", "compare", "new", "analyse")
COMMANDS: dict[str, tuple[list[str], tuple[str, ...]]] = {
    "prepare": (["prepare", ".", "--jobs", "1"], ("stimuli/",)),
    "measure": (["measure", ".", "--jobs", "1"], ("measures.", "traces.npz")),
    "report": (["report", ".", "--no-sounds"], ("report/",)),
    "export": (["export", "."], ("export/", "sealed/", "record.jsonl", "station/answers.sqlite")),
    "deposit": (["deposit", "."], ("deposited", "history.json", "record.jsonl")),
    "analyse": (["analyse", "."], ("findings.json", "sealed/", "record.jsonl", "station/answers.sqlite")),
    "station": (["station", ".", "carried"], ("carried/",)),
    "picture": (["picture", *SOUNDS, "--out", "looked.svg"], ("looked",)),
    "compare": (["compare", SOUNDS[0], "--with", SOUNDS[1], "--picture", "looked.svg"], ("looked",)),
    "new": (["new", "fresh", "--from", "protocol.toml"], ("fresh/",)),
    "import": (["import", "table.csv", "fresh"], ("fresh/",)),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small.make(tmp_path_factory.mktemp("small")).root


@pytest.fixture(autouse=True)
def _sweep_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(form, "LEFTOVER_S", -1.0)
    monkeypatch.setattr(folder, "LEFTOVER_S", -1.0)
    cuts.without_waiting(monkeypatch)


def _run(words: list[str], place: Path) -> Callable[[], int]:
    def act() -> int:
        os.chdir(place)
        with open(os.devnull, "w") as nowhere:
            sys.stdout = sys.stderr = nowhere
            return cli.main(words)

    return act


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=pytest.mark.slow) if n in SLOW else n for n in COMMANDS],
)
def test_a_command_cut_before_any_step_harms_nothing_and_can_be_run_again(
    made: Path, tmp_path: Path, name: str
) -> None:
    words, own = COMMANDS[name]
    place = tmp_path / "cut"
    small.copy(made, place)
    n_steps = cuts.n_steps(_run(words, place))
    assert n_steps > 2
    wanted = _theirs(place, own)
    for step in cuts.some(n_steps, 6):
        small.copy(made, place)
        before = _others(place, own)
        assert cuts.cut(_run(words, place), step)
        assert _others(place, own) == before, f"cut before step {step}"
        assert not cuts.cut(_run(words, place), -1)  # the second time to its end
        assert _others(place, own) == before
        assert _theirs(place, own) == wanted, f"cut before step {step}"


def _theirs(place: Path, own: tuple[str, ...]) -> set[str]:
    """Names of what the command wrote: contents hold the time."""
    return {name for name in cuts.contents(place) if name.startswith(own)}


def _others(place: Path, own: tuple[str, ...]) -> dict[str, str]:
    """All that it may not touch; what begins with a dot is its own half-made work."""
    found = cuts.contents(place).items()
    logs = (".log", "record.jsonl")  # they tell every run, cut or whole
    return {k: v for k, v in found if not k.startswith((*own, ".")) and not k.endswith(logs)}


STEPS = "rename,renameat2,unlink,fsync,fdatasync,ftruncate,pwrite64"
STORES = {
    "copy": ["copy", ".", "other.sqlite"],
    "merge": ["merge", ".", "north.sqlite", "--site", "north", "--keep-apart"],
    "withdraw": ["withdraw", ".", "S001", "--yes"],
}


@strace
@pytest.mark.slow
@pytest.mark.parametrize("name", STORES)
def test_a_store_cut_before_any_system_call_is_whole_and_the_command_can_be_run_again(
    made: Path, tmp_path: Path, name: str
) -> None:
    start = tmp_path / "start"
    small.copy(made, start)
    if name == "merge":
        copying.copy(start / "station" / "answers.sqlite", start / "north.sqlite")
        open_store(start / "north.sqlite").close()
        store = open_store(start / "station" / "answers.sqlite")
        store.withdraw("S001")
        store.close()
    counts = _strace(start, tmp_path / "once", STORES[name])
    whole = _digests(tmp_path / "once")
    for call, n_calls in counts.items():
        for n in cuts.some(n_calls, 8):
            place = tmp_path / "cut"
            _strace(start, place, STORES[name], kill=f"{call}:signal=SIGKILL:when={n}")
            _digests(place)  # every store opens
            done = subprocess.run(
                _words(STORES[name]), cwd=place, capture_output=True, text=True, check=False
            )
            again = (
                done.returncode in (0, 1) or "holds" in done.stderr or "nothing of that code" in done.stderr
            )
            assert again, f"{call} {n}: {done.stderr}"
            found = _digests(place)
            assert found.keys() == whole.keys(), f"cut before {call} {n}"
            assert {k: v for k, v in found.items() if k != "station/answers.sqlite" or name == "copy"} == {
                k: v for k, v in whole.items() if k != "station/answers.sqlite" or name == "copy"
            }, f"cut before {call} {n}"


def _words(words: list[str]) -> list[str]:
    return [sys.executable, "-m", "listening", *words]


def _strace(start: Path, place: Path, words: list[str], *, kill: str = "") -> dict[str, int]:
    """Run in a copy of `start`; how often each call came in the main thread."""
    small.copy(start, place)
    log = place.parent / "strace"
    inject = ["-e", f"inject={kill}"] if kill else []
    command = ["strace", "-f", "-qq", "-e", f"trace={STEPS}", *inject, "-o", str(log), *_words(words)]
    subprocess.run(
        command, cwd=place, capture_output=True, check=False, env=os.environ | {"PYTHONPATH": str(ROOT)}
    )
    lines = log.read_text(errors="replace").splitlines()
    first = lines[0].split()[0] if lines else ""
    calls = [m[1] for line in lines if line.startswith(first) and (m := re.match(r"\d+ +(\w+)\(", line))]
    return {call: calls.count(call) for call in dict.fromkeys(calls)}


def _digests(place: Path) -> dict[str, str]:
    found = {}
    for path in sorted(place.rglob("*.sqlite")):
        store = open_store(path)
        with reading(store._engine, str(path)) as connection:
            found[str(path.relative_to(place))] = copying.digest(connection)
        store.close()
    return found
