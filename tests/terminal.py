"""A real terminal for tests: tmux on a socket of its own, keys in, screens out."""

import os
import shutil
import subprocess
import time
import uuid
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

import pytest

WAIT_S = 60.0

needed = pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux is not on this machine")


class Terminal:
    """One tmux window that runs one command, then stays to be looked at."""

    def __init__(
        self, command: str, environment: Mapping[str, str], *, columns: int = 80, rows: int = 24
    ) -> None:
        self._socket = f"listening-{uuid.uuid4().hex[:12]}"
        self.frames: list[str] = []
        """Every screen that was looked at."""
        shell = f"{command}; echo ended-with-$?; stty -a | head -3; echo settings-shown; sleep 600"
        size = ["-x", str(columns), "-y", str(rows)]
        clean = {k: v for k, v in environment.items() if k not in ("TMUX", "TMUX_PANE")}
        subprocess.run(
            ["tmux", "-L", self._socket, "-f", os.devnull, "new-session", "-d", *size, "sh", "-c", shell],
            env=clean,
            check=True,
        )

    def press(self, *keys: str) -> None:
        """Send keys: `Space`, `Enter`, `Escape`, `a`."""
        self._tmux("send-keys", *keys)

    def screen(self) -> str:
        """What stands on the screen now."""
        text = self._tmux("capture-pane", "-p").stdout.replace("\u00a0", " ")
        self.frames.append(text)
        return text

    def wait_for(self, *texts: str) -> str:
        """The first screen that holds all of the texts, however its lines end."""
        return self.wait_until(lambda screen: all(t in _flat(screen) for t in texts), f"{texts}")

    def wait_until(self, is_so: Callable[[str], bool], what: str) -> str:
        """The first screen of which `is_so` is true."""
        end = time.monotonic() + WAIT_S
        while time.monotonic() < end:
            if is_so(screen := self.screen()):
                return screen
            time.sleep(0.03)
        raise AssertionError(f"no screen with {what} within {WAIT_S} s; the last one was:\n{screen}")

    def process(self) -> int:
        """Process id of the command (the youngest Python below the window)."""
        shell = self._tmux("display-message", "-p", "#{pane_pid}").stdout.strip()
        children = Path(f"/proc/{shell}/task/{shell}/children").read_text().split()
        return int(children[-1])

    def opening(self) -> None:
        """Through a sitting from the welcome to the first trial."""
        self.to_level_check()
        self.wait_for("What you will be asked")
        self.press("Space")
        self.wait_for("I understand")
        self.press("Enter")

    def to_level_check(self) -> None:
        """Through a sitting from the welcome to the end of the level check."""
        self.wait_for("Listening test", "go on")
        self.press("Enter")
        self.wait_for("Your agreement")
        self.press("y")
        self.wait_for("Set the level")
        self.press("Space")
        self.wait_for("clear and comfortable, go on")
        self.press("Enter")

    def one_trial(self, heading: str, answer: str) -> None:
        """Play and answer the trial of that heading."""
        self.wait_for(heading, "Press the space bar")
        self.press("Space")
        self.wait_for(heading, "Press the key beside")
        self.press(answer)
        self.wait_for(heading, "You chose")
        self.press("Enter")

    def is_plain(self) -> bool:
        """The normal screen is back and the cursor shows."""
        state = self._tmux("display-message", "-p", "#{alternate_on} #{cursor_flag}").stdout
        return state.strip() == "0 1"

    def record(self, path: Path) -> None:
        """From now on keep every byte that the command writes to the terminal."""
        self._tmux("pipe-pane", "-o", f"cat >> {path}")

    def history(self) -> str:
        """The screen and everything that scrolled off it."""
        return self._tmux("capture-pane", "-p", "-S", "-").stdout

    def resize(self, columns: int, rows: int) -> None:
        """Another size while the command runs."""
        self._tmux("resize-window", "-x", str(columns), "-y", str(rows))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the window and all in it."""
        self._tmux("kill-server")

    def _tmux(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["tmux", "-L", self._socket, *words], capture_output=True, text=True, check=False
        )


def _flat(screen: str) -> str:
    """A screen as running text, both ways: lines that end between words, and lines that end within one."""
    return " ".join(screen.split()) + "\n" + screen.replace("\n", "")
