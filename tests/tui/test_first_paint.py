"""The first screen is drawn before anything large is loaded, and leaves the terminal as it was."""

import os
import pty
import subprocess
import sys
import termios
from pathlib import Path
from typing import TextIO

import pytest

from listening.session.showing.view import Stage, View
from listening.tui import first_paint
from tests import stations

WELCOME = View(Stage.WELCOME, "Listening test", body=("word " * 40,), status="Getting the sound ready ...")

HEAVY = """
import sys
from pathlib import Path
from listening import cli
from listening.commands import sit
from listening.records.study import Study
from listening.tui import first_paint
view, _ = sit.first_view(Study(Path(sys.argv[1])))
assert view.body[0] == "Welcome to the test."
print(*sorted({"textual", "numpy", "pydantic", "sqlalchemy", "scipy", "asyncio"} & set(sys.modules)))
"""


def test_nothing_large_is_loaded_before_the_first_screen(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan())
    done = subprocess.run(
        [sys.executable, "-c", HEAVY, str(study.root)], capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == []


@pytest.mark.parametrize(("columns", "rows"), [(80, 24), (200, 60), (20, 5)])
def test_the_first_screen_fits(columns: int, rows: int) -> None:
    made = first_paint.lines(WELCOME, columns, rows)
    assert len(made) < rows
    assert max(len(line) for line in made) <= columns
    assert made[0].strip() == "Listening test"


def test_a_fault_while_loading_leaves_the_terminal_as_it_was() -> None:
    reader, writer = pty.openpty()
    before = termios.tcgetattr(writer)
    with os.fdopen(writer, "w", closefd=False) as terminal:
        with pytest.raises(RuntimeError, match="seeded"):
            _fail_under(terminal)
        assert termios.tcgetattr(writer) == before
    os.close(writer)
    wrote = _everything(reader).decode()
    assert wrote.startswith(first_paint.BEGIN)
    assert wrote.endswith(first_paint.END)
    os.close(reader)


def _fail_under(terminal: TextIO) -> None:
    with first_paint.shown(WELCOME, terminal):
        flags = termios.tcgetattr(terminal.fileno())
        assert not flags[3] & (termios.ECHO | termios.ICANON)
        assert not flags[0] & termios.ICRNL  # Enter stays Enter for the full screen that reads it
        raise RuntimeError("seeded")


def _everything(reader: int) -> bytes:
    """All that was written, however many pieces it comes in; the writing end is closed."""
    wrote = b""
    while True:
        try:
            piece = os.read(reader, 65536)
        except OSError:  # how a terminal says that its other end is closed
            return wrote
        if not piece:
            return wrote
        wrote += piece
