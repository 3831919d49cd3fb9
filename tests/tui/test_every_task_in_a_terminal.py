"""Every way of asking sat to its goodbye in a real terminal, by keys alone, over a device that keeps sounds.

Slow: each sitting is a process of its own in a window of its own. The keys are read from the screen, as a
listener reads them; the sitting's state is never looked at.
"""

import re
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from listening.records.kinds.tasks import TASKS
from listening.session.showing.words import words
from listening.store import open_store
from tests import alsa, stations, terminal
from tests.terminal import Terminal
from tests.tui.test_every_task import SIZES, planned

pytestmark = [pytest.mark.slow, alsa.needed, terminal.needed]

WITHIN_S = 240.0
WORDS = {
    "en": {
        "agree": "I agree",
        "small": r"at least (\d+) by (\d+)",
        "unheard": r"Still unheard: ([A-LR])",
        "unset": "not set yet",
        "taken": "set the mark",
        "confirm": "confirm",
        "unplayed": "Press the space bar",
        "right": "as the text above asks",
        "moment": "One moment",
        "yes": "y",
    },
    "de": {
        "agree": "nehme teil",
        "small": r"mindestens (\d+) mal (\d+)",
        "unheard": r"Noch nicht gehört: ([A-LR])",
        "unset": "noch nicht bewertet",
        "taken": "Regler stellen",
        "confirm": "bestätigen",
        "unplayed": "Drücken Sie die Leertaste",
        "right": "wie es oben steht",
        "moment": "Einen Moment",
        "yes": "j",
    },
}
"""What stands on the screen when a key is wanted."""


def next_key(screen: str, language: str) -> list[str]:
    """What a listener would press now, from what is to be read; nothing: wait."""
    say, flat = WORDS[language], " ".join(screen.split())
    keys = re.split(r"[╌━─]{20,}", screen)[-1]
    if say["moment"] in flat:
        return []
    if say["agree"] in keys:
        return [say["yes"]]
    if found := re.search(say["unheard"], flat):
        return [found[1].lower()]
    if say["confirm"] in keys or say["taken"] in keys:
        return ["Enter"]
    if unset := re.search(rf"([A-L])\s[├┼─┤● ]+{say['unset']}", screen):
        return [unset[1].lower(), "4"]
    if say["unset"] in flat:
        return ["4"]
    if say["right"] in flat:
        return ["Right"]
    if (answer := re.search(r"\[ \] (\w)", screen)) and not re.search(r"▶", screen):
        if say["unplayed"] in flat:
            return ["Space"]
        return [answer[1].lower()]
    if re.search(r"\bEnter\b", keys):
        return ["Enter"]
    return ["Space"] if re.search(r"\b(Space|Leertaste)\b", keys) and "▶" not in screen else []


def sat(window: Terminal, language: str) -> None:
    """Press what the screen asks for until the program has ended."""
    end, before = time.monotonic() + WITHIN_S, ""
    while time.monotonic() < end:
        screen = window.screen()
        if "ended-with-" in screen:
            assert "ended-with-0" in screen, screen
            return
        if small := re.search(WORDS[language]["small"], " ".join(screen.split())):
            window.resize(int(small[1]), int(small[2]))
        elif screen == before:  # it stands still: what was pressed is drawn
            window.press(*next_key(screen, language))
            time.sleep(0.15)
        before = screen
        time.sleep(0.1)
    raise AssertionError(f"no goodbye within {WITHIN_S} s; the last screen was:\n{before}")


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("task", sorted(TASKS))
def test_a_sitting_comes_to_its_goodbye_in_a_terminal(
    tmp_path: Path, task: str, size: tuple[int, int], language: str
) -> None:
    plan = planned(TASKS[task], language)
    study = stations.write_station(tmp_path / "study", plan)
    environment, captured = alsa.environment(tmp_path)
    command = f"{sys.executable} -m listening sit {study.root} --listener L01"
    with Terminal(command, environment | {"LANG": "C.UTF-8"}, columns=size[0], rows=size[1]) as window:
        sat(window, language)
    _check(study.answers, captured)


def next_line(block: str, language: str) -> str | None:
    """What a listener would type after what was said since the last heading; None: nothing is asked yet."""
    say, spoken = WORDS[language], words(language)
    said = re.split(r"^> .*$", block, flags=re.M)
    menu = dict(
        re.findall(r"^  (\S+|\([^)]*\)): (.+)$", next((s for s in said[::-1] if s.strip()), ""), re.M)
    )
    if yes := next((word for word, label in menu.items() if say["agree"] in label), None):
        return yes
    unheard = re.findall(say["unheard"], " ".join(said[-1].split()))
    marks = dict(re.findall(r"^\*? ?(?:Sound|Klang) ([A-L]): (.+)$", block, re.M))
    unset = [letter for letter, mark in marks.items() if mark == say["unset"]]
    if unheard:
        return str(unheard[-1]).lower()
    if spoken.text("line_enter") in menu:
        return ""
    if unset:
        is_selected = re.findall(r"^\* (?:Sound|Klang) ([A-L])", block, re.M)[-1:] == unset[:1]
        return "4" if is_selected else unset[0].lower()
    if re.search(rf"^{say['unset']}$", block, re.M):
        return "4"
    if spoken.text("word_right") in menu:
        return spoken.text("word_right")
    answer = next((word for word in menu if re.fullmatch(r"[a-c1-9]", word)), None)
    return answer or next((word for word in menu if word == spoken.text("word_space")), None)


def sat_in_lines(window: Terminal, said: Path, language: str) -> None:
    """Type what the lines ask for until the program has ended."""
    end, before, typed_at = time.monotonic() + WITHIN_S, "", 0
    block = ""
    while time.monotonic() < end:
        told = said.read_text(errors="replace").replace("\r", "") if said.exists() else ""
        if "ended-with-" in told:
            assert "ended-with-0" in told, told[-2000:]
            return
        if told == before and len(told) > typed_at:
            block = (block + told[typed_at:]).rsplit("\n==", 1)[-1]
            line = next_line(block, language)
            typed_at = len(told)
            if line is not None:
                block += f"\n> {line}\n"
                typed_at += len(line) + 1  # the terminal's echo
                window.press(*([line] if line else []), "Enter")
        before = told
        time.sleep(0.4)
    raise AssertionError(f"no goodbye within {WITHIN_S} s; the last lines were:\n{before[-2000:]}")


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("task", sorted(TASKS))
def test_a_sitting_in_lines_comes_to_its_goodbye_in_a_terminal(
    tmp_path: Path, task: str, language: str
) -> None:
    study = stations.write_station(tmp_path / "study", planned(TASKS[task], language))
    environment, captured = alsa.environment(tmp_path)
    command = f"{sys.executable} -m listening sit {study.root} --listener L01 --plain"
    with Terminal(command, environment | {"LANG": "C.UTF-8"}) as window:
        window.record(tmp_path / "said")
        sat_in_lines(window, tmp_path / "said", language)
    _check(study.answers, captured)


def _check(answers: Path, captured: Path) -> None:
    stored = open_store(answers).answers()
    assert [a.trial for a in stored] == ["001", "002"]
    assert np.abs(alsa.samples(captured)).max() > 0
