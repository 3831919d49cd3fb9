"""Every way of asking, sat by keys to its goodbye at every size in both languages; nothing is hidden."""

import asyncio
import html
import re
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from textual.pilot import Pilot

from listening.records.dealt.plan import Plan, PlannedAttribute, PlannedTrial, Slot
from listening.records.kinds.tasks import TASKS, Task
from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.app import StationApp
from listening.tui.screens.small import Small
from tests import stations
from tests.stations import Bench

SIZES = [(60, 18), (80, 24), (100, 30), (200, 60)]
WITHIN_S = 120.0
MOST_PRESSES = 200
LABELS = {5: ("bad", "poor", "fair", "good", "excellent"), 2: ("not at all", "extremely")}
TALL = 40  # a window of more lines is asked of nobody


def seated(folder: Path, task: Task, language: str) -> Bench:
    """At the welcome of a sitting of two trials."""
    return stations.take_seat(folder, planned(task, language))


def planned(task: Task, language: str) -> Plan:
    """Two trials of a task, with as many sounds as stand on a screen at most."""
    n_labels = next((n for n in (5, 7, 2) if n in task.scale_lengths), 0)
    asked = PlannedAttribute(
        name="brightness",
        task=task.name,
        question="How bright is what you hear, compared with all that you have heard so far?",
        explanation="Bright sounds have more treble.",
        scale=LABELS.get(n_labels, tuple(f"label {i}" for i in range(n_labels))),
        switching=task.always_switching,
        loops=task.always_switching,
    )
    clips = stations.CODES[: task.sounds or len(stations.CODES) - 1]
    reference = (
        stations.CODES[-1] if task.has_hidden_reference or task.picks == "like the reference" else None
    )
    trials = tuple(
        PlannedTrial(trial=f"{i:03d}", attribute="brightness", clips=clips, reference=reference)
        for i in (1, 2)
    )
    changes = {"attributes": (asked,), "slots": (Slot(slot=0, trials=trials),)}
    return stations.make_plan().model_copy(update=changes | {"sitting": stations.rules(language=language)})


def wanted(bench: Bench) -> str:
    """The next act of a listener who answers as soon as that is possible."""
    offered = [action.name for action in bench.sitting.actions()]
    turn = bench.sitting.state.turn
    unheard = [n for n in offered if n.startswith("hear:") and int(n.partition(":")[2]) not in turn.heard]
    if "confirm" in offered:
        return "confirm"
    if bench.sitting.stage is Stage.TRIAL and unheard:
        return unheard[0]
    if turn.typed:
        return "take_number"
    if turn.values and turn.values[turn.row] is None and "less" in offered:
        return "digit:4" if "digit:4" in offered else "less"
    if len(turn.values) > 1 and "row_up" in offered and None in turn.values:
        return "row_up" if turn.values.index(None) < turn.row else "row_down"
    for name in ("go_on", "agree", "level_right", "understood", "end", "play"):
        if name in offered:
            return name
    return next(name for name in offered if name.startswith("choose:"))


def shown(app: StationApp) -> str:
    """The text of the screen, its lines run together."""
    texts = re.findall(r"<text[^>]*>(.*?)</text>", app.export_screenshot(), re.S)
    return " ".join(html.unescape(" ".join(texts)).replace("\u00a0", " ").split())


def missing(app: StationApp, bench: Bench) -> list[str]:
    """What a listener must see now and does not."""
    view, text = bench.sitting.view(), shown(app)
    needed = [view.heading, view.question, view.status, *(c.label for c in view.choices)]
    needed += [dial.clip.name for dial in view.dials if dial.clip.letter]
    needed += [dial.text for dial in view.dials]
    needed += [
        action.label for action in view.actions if action.shown and not action.name.startswith("choose")
    ]
    return [one for one in needed if " ".join(one.split()) not in text]


async def until(pilot: Pilot[None], is_so: Callable[[], bool]) -> None:
    async with asyncio.timeout(WITHIN_S):
        while not is_so():
            await pilot.pause(0.01)


async def sat(bench: Bench, size: tuple[int, int], language: str) -> None:
    first, spoken = View(Stage.WELCOME, "Listening test"), words(language)
    arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda seat: bench.sitting)
    arrival.sitting = bench.sitting
    app = StationApp(first, lambda: arrival, spoken)
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: app.arrival is not None)
        for _ in range(MOST_PRESSES):
            await pilot.pause(0.06)  # more than a tick: what was done is drawn
            if isinstance(app.screen, Small):
                assert app.screen._least.height <= TALL
                await pilot.resize_terminal(app.screen._least.width, app.screen._least.height)
                continue
            if bench.sitting.stage is Stage.TRIAL:
                with suppress(TimeoutError):  # a busy machine draws later
                    await until(pilot, lambda: not missing(app, bench))
                assert missing(app, bench) == [], shown(app)
            act = wanted(bench)
            key = next(action.key for action in bench.sitting.actions() if action.name == act)
            await pilot.press(key)
            if bench.sitting.is_over:
                return
        raise AssertionError(f"not over after {MOST_PRESSES} keys, at {bench.sitting.stage}")


@pytest.mark.slow
@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("task", sorted(TASKS))
def test_a_sitting_comes_to_its_goodbye_with_nothing_hidden(
    tmp_path: Path, task: str, size: tuple[int, int], language: str
) -> None:
    bench = seated(tmp_path, TASKS[task], language)
    asyncio.run(sat(bench, size, language))
    assert bench.sitting.state.is_finished
    assert len(bench.store.answers()) == 2
