"""A drive that turns read-only, and a machine that gives 14 open files: said plainly, nothing lost."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from listening.records.study import Study
from listening.store import open_store
from tests import alsa, cuts, power, stations, terminal
from tests.fuzz import study as small
from tests.terminal import Terminal

ROOT = Path(__file__).resolve().parents[1]
FEW_FILES = 14
READS = (["check", "."], ["measure", "sounds/a1.wav", "sounds/b1.wav"], ["verify", "."])
WRITES = (["measure", ".", "--jobs", "1"], ["deal", ".", "--again", "a strike was wrong"], ["analyse", "."])
ALSO_WRITES = (
    ["report", ".", "--no-sounds"],
    ["export", "."],
    ["desk", "."],
    ["withdraw", ".", "S001", "--yes"],
)
strace = power.needed


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small.make(tmp_path_factory.mktemp("small")).root


@pytest.fixture
def study(made: Path, tmp_path: Path) -> Path:
    small.copy(made, tmp_path / "study")
    return tmp_path / "study"


def _ended(words: list[str], place: Path, *before: str) -> tuple[int, str]:
    command = [*before, sys.executable, "-m", "listening", *words]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, cwd=place, capture_output=True, text=True, env=environment, check=False)
    return done.returncode, done.stdout + done.stderr


@pytest.fixture
def read_only(study: Path) -> Iterator[tuple[str, ...]]:
    """Words before a command for which the study lies on a drive that cannot be written."""
    if os.geteuid() == 0:  # whom no right of a file stops
        mounted = 'mount --bind "$0" "$0" && mount -o remount,ro,bind "$0" && cd "$0" && exec "$@"'
        yield ("unshare", "-m", "sh", "-c", mounted, str(study))
        return
    places = [study, *(p for p in study.rglob("*") if p.is_dir())]
    for place in places:
        place.chmod(0o555)
    for file in (p for p in study.rglob("*") if p.is_file()):
        file.chmod(0o444)
    yield ()
    for place in places:
        place.chmod(0o755)


@pytest.mark.slow  # a process for each; the sittings below are fast
@pytest.mark.parametrize("words", [*WRITES, *ALSO_WRITES], ids=" ".join)
def test_a_read_only_drive_is_said_and_nothing_changes(
    study: Path, read_only: tuple[str, ...], words: list[str]
) -> None:
    if read_only and subprocess.run(["unshare", "-m", "true"], check=False).returncode:
        return  # root in a container that gives no mounts: nothing can be made read-only for it
    before = cuts.contents(study)
    code, said = _ended(words, study, *read_only)
    assert code == 2, said
    assert "Traceback" not in said
    assert "listening: " in said
    assert cuts.contents(study) == before


@pytest.mark.slow
@pytest.mark.parametrize("words", [*READS, *WRITES, *ALSO_WRITES], ids=" ".join)
def test_fourteen_open_files_are_enough_or_it_is_said(study: Path, words: list[str]) -> None:
    code, said = _ended(words, study, "sh", "-c", f'ulimit -n {FEW_FILES}; exec "$@"', "sh")
    assert code in (0, 1, 2), said
    assert "Traceback" not in said


def _sit(tmp_path: Path) -> tuple[Study, str, dict[str, str]]:
    study = stations.write_station(tmp_path / "study", stations.make_plan(n_trials=3, n_practice=0))
    environment, _ = alsa.environment(tmp_path)
    return study, f"{sys.executable} -m listening sit {study.root} --listener L01", environment


@alsa.needed
@terminal.needed
def test_a_sitting_with_fourteen_open_files_goes_on_or_says_so(tmp_path: Path) -> None:
    _, command, environment = _sit(tmp_path)
    with Terminal(f"ulimit -n {FEW_FILES}; {command}", environment) as window:
        screen = window.wait_until(lambda s: "go on" in s or "ended-with-" in s, "a start or an end")
        assert "Traceback" not in screen
        assert "go on" in screen or "ended-with-2" in screen


@pytest.mark.slow  # half a minute, and it follows a running process, which not every container allows
@alsa.needed
@terminal.needed
@strace
def test_a_drive_that_turns_read_only_in_a_sitting_stops_it_and_keeps_what_was_answered(
    tmp_path: Path,
) -> None:
    study, command, environment = _sit(tmp_path)
    writes = "pwrite64,ftruncate,fsync,fdatasync"
    with Terminal(command, environment) as window:
        window.opening()
        window.one_trial("Trial 1 of 3", "b")
        window.wait_for("Trial 2 of 3")
        window.press("Space")
        window.wait_for("Trial 2 of 3", "Press the key beside")
        layer = ["strace", "-f", "-qq", "-o", os.devnull, "-e", f"trace={writes}"]
        layer += ["-e", f"inject={writes}:error=EROFS", "-p", str(window.process())]
        with subprocess.Popen(layer) as turned:
            attached = Path(f"/proc/{window.process()}/status")
            window.wait_until(lambda _: "TracerPid:\t0" not in attached.read_text(), "the layer in place")
            window.press("a")
            screen = window.wait_until(lambda s: "cannot be used" in s or "ended-with-" in s, "a message")
            assert "Traceback" not in screen
            turned.terminate()
    assert [(a.trial, a.answer) for a in open_store(study.answers).answers()] == [("001", "second")]
