"""Hostile input to every command: a sample always, 2,000 cases under `make fuzz` and `make slow`."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

SEED = 7


def _fuzz(n_cases: int) -> None:
    words = [sys.executable, "-m", "tests.fuzz.run", "--seed", str(SEED), "--cases", str(n_cases)]
    root = Path(__file__).resolve().parents[1]
    done = subprocess.run(words, cwd=root, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


def test_hostile_input_ends_in_a_plain_message() -> None:
    _fuzz(40)


@pytest.mark.slow
def test_two_thousand_hostile_inputs_end_in_a_plain_message() -> None:
    _fuzz(2000)


def test_every_command_meets_hostile_words() -> None:
    """A command that is added later has to be given a line."""
    from listening import cli
    from tests.fuzz import cases

    assert {line[0] for line in cases.LINES} == set(cli.COMMANDS)


def test_the_fuzzer_sees_a_command_that_crashes_hangs_or_prints_an_escape(tmp_path: Path) -> None:
    from tests.fuzz import run

    crashed = run.Ended(1, "Traceback (most recent call last):", 0.1, False)
    slow = run.Ended(-signal.SIGXCPU, "", 11.0, False)
    waits = run.Ended(-9, "", 0.1, True)
    red = run.Ended(0, "a\x1b[31m", 0.1, False)
    assert [run._said_wrongly(e)[0][:5] for e in (crashed, slow, waits, red)] == [
        "trace",
        "takes",
        "hangs",
        "print",
    ]
    assert run._harmed({"a.json": "1"}, {"a.json": "2"}, 2)
    assert run._harmed({"protocol.toml": "1"}, {}, 0)
    (tmp_path / "record.jsonl").write_text("1\n")
    kept = run._kept(tmp_path)
    (tmp_path / "record.jsonl").write_text("1\n2\n")
    assert not run._lost(kept, tmp_path, 2)
    (tmp_path / "record.jsonl").write_text("2\n")
    assert run._lost(kept, tmp_path, 2)
    (tmp_path / "a.csv").write_text("\x9b")
    assert run._written_wrongly({}, {"a.csv": "1"}, tmp_path)


def test_the_fuzzer_sees_an_answer_that_a_refused_command_took_away(tmp_path: Path) -> None:
    import contextlib
    import sqlite3

    from tests.fuzz import run

    with contextlib.closing(sqlite3.connect(tmp_path / "answers.sqlite")) as store:
        for table in ("answer", "event", "sitting"):
            store.execute(f"CREATE TABLE {table} (id)")
            store.execute(f"INSERT INTO {table} VALUES (1)")
        store.commit()
        kept = run._kept(tmp_path)
        store.execute("INSERT INTO event VALUES (2)")
        store.commit()
        assert not run._lost(kept, tmp_path, 2)
        store.execute("DELETE FROM answer")
        store.commit()
    assert run._lost(kept, tmp_path, 2)


def test_a_case_writes_nowhere_outside_the_folder_of_the_run(tmp_path: Path) -> None:
    from tests.fuzz import confined

    inside, outside = tmp_path / "inside", tmp_path / "outside"
    inside.mkdir()
    outside.write_text("kept")
    if not confined.version():  # the fuzzer then leaves out every word that names a place outside
        return
    acts = ("write", "remove", "rename", "make")
    program = (
        "import os, sys; from pathlib import Path; from tests.fuzz import confined\n"
        "inside, outside = map(Path, sys.argv[1:]); confined.confine([inside])\n"
        "(inside / 'a').write_text('1'); Path(os.devnull).write_text('1'); done = []\n"
        "over, new = lambda: (inside / 'a').replace(outside), outside.parent / 'new'\n"
        "for act in (lambda: outside.write_text('harmed'), outside.unlink, over, new.mkdir):\n"
        "    try: act(); done.append('harmed')\n"
        "    except OSError: done.append('refused')\n"
        "print(*done)"
    )
    words = [sys.executable, "-c", program, str(inside), str(outside)]
    root = Path(__file__).resolve().parents[1]
    done = subprocess.run(words, cwd=root, capture_output=True, text=True, check=False)
    assert done.stdout.split() == ["refused"] * len(acts), done.stderr
    assert outside.read_text() == "kept"
    assert (inside / "a").read_text() == "1"


@pytest.mark.parametrize("after_s", [0.05, 0.1, 0.2, 0.4, 0.8])
def test_ctrl_c_in_the_first_second_ends_without_a_traceback(tmp_path: Path, after_s: float) -> None:
    words = [sys.executable, "-m", "listening", "check", str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as command:
        time.sleep(after_s)
        os.kill(command.pid, signal.SIGINT)
        said = command.communicate()[1].decode()
    # Python's own start, and the first imports of ours, come before anything can be caught
    begun = set(re.findall(r"/listening/([\w/]+)\.py", said))
    assert "Traceback" not in said or begun <= {"__init__", "__main__", "start", "errors"}, said
    assert command.returncode in (2, 130, -signal.SIGINT)
