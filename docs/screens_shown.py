"""The screens that README and the guides show, each drawn by the program at a sitting of made-up sounds."""

import asyncio
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import screen_picture
from textual.app import App

from listening.commands import desk
from listening.records.dealt.plan import Plan, PlannedAttribute, PlannedTrial, Slot
from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui import lines
from listening.tui.app import StationApp
from listening.tui.desk_screen import Desk
from tests import stations
from tests.stations import Bench, walk

SIZE = (80, 24)
WIDE = (100, 30)
A, B, C, D, E, R = stations.CODES
READY = ("go_on", "agree", "play", "level_right", "understood")
BANDS = ("bad", "poor", "fair", "good", "excellent")
IMPAIRMENT = ("very annoying", "annoying", "slightly annoying", "perceptible, not annoying", "imperceptible")


def trial() -> str:
    """A trial as an SVG picture: sound A was heard, sound B is chosen."""
    return _at(stations.make_plan(n_trials=12, n_practice=0), _second_pair)


def german() -> str:
    """The same in German, while sound B plays."""
    plan = stations.make_plan(n_trials=12, n_practice=0)
    asked = plan.attributes[0].model_copy(update={"wording": "Welcher der beiden Klänge ist heller?"})
    changes = {"attributes": (asked,), "sitting": stations.rules(language="de")}
    return _at(plan.model_copy(update=changes), _while_the_second_plays)


def training() -> str:
    """Training on the whole range: three of the sounds were heard, one plays."""
    return _at(_graded("multiple stimulus", BANDS, training=True), _in_training)


def multiple_stimulus() -> str:
    """Five sounds beside a reference, rated on a scale of five bands; a number is being typed."""
    return _at(_graded("multiple stimulus", BANDS), _rating(72, 41, 93), WIDE)


def triple_stimulus() -> str:
    """Two sounds beside a reference, graded on the impairment scale."""
    return _at(_graded("triple stimulus", IMPAIRMENT), _rating(5.0, 3.7), WIDE)


def live_desk() -> str:
    """The assistant's screen: one listener sits, one calls for help, one has finished."""
    rows = [
        desk.Row(0, "K7PQX", "sits", 31, 72, 0, "2099-01-01T10:12:04", "78.2 dB A", "trials", 12),
        desk.Row(
            1, "M2NRT", "sits", 12, 72, 1, "2099-01-01T10:12:02", "76.9 dB A", "trials", 17, is_calling=True
        ),
        desk.Row(2, "B9CWD", "finished", 72, 72, 0, "2099-01-01T09:58:41", "79.0 dB A", "done"),
    ]
    below = [
        "  M2NRT              called for help at 10:11 UTC",
        "  M2NRT              a play did not count: 1024 of 96000 frames not played",
        "24 slots dealt, 3 begun, 1 finished",
        "key: sealed under the keyholder’s pass phrase",
        "room: 24 dB A, 21 °C, light dim, noted by AB",
    ]
    app = Desk(desk.HEAD, lambda: [desk._shown(row) for row in rows], lambda: below, lambda *_: None)
    return asyncio.run(_drawn(app, WIDE, lambda: True))


def in_lines() -> str:
    """A pair in the line mode, as it stands in a terminal."""
    with tempfile.TemporaryDirectory() as folder:
        bench = stations.take_seat(Path(folder), stations.make_plan(n_trials=12, n_practice=0))
        walk(bench.sitting, *stations.OPENING)
        bench.sitting._course.become(words=words("en").in_lines())
        said: list[str] = []
        typed = iter(["play", "b", ""])

        def read(_: float) -> str:
            line = next(typed, None)
            if line is None:
                raise EOFError
            said.append(f"> {line}")
            return line

        lines.run(bench.sitting, read=read, write=lambda text: said.extend(text.split("\n")))
        return screen_picture.of_lines(said, SIZE[0])


SCREENS: dict[str, Callable[[], str]] = {
    "trial": trial,
    "german": german,
    "training": training,
    "multiple_stimulus": multiple_stimulus,
    "triple_stimulus": triple_stimulus,
    "desk": live_desk,
    "in_lines": in_lines,
}
"""By the name of the picture's file."""


def _graded(task: str, scale: tuple[str, ...], **rules: object) -> Plan:
    asked = PlannedAttribute(
        name="quality",
        task=task,
        wording="How close is each sound to the reference?",
        explanation="",
        scale=scale,
        scale_bands=task == "multiple stimulus",
        switching=True,
        loops=True,
    )
    clips = (A, B, C, D, E) if task == "multiple stimulus" else (A, B)
    trials = tuple(
        PlannedTrial(trial=f"{i:03d}", attribute="quality", clips=clips, reference=R) for i in range(1, 13)
    )
    plan = stations.make_plan(attributes=(asked,), slots=(Slot(slot=0, trials=trials),))
    return plan.model_copy(update={"sitting": stations.rules(**rules)})


def _second_pair(bench: Bench) -> None:
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)
    walk(bench.sitting, "play", "choose:second")


def _while_the_second_plays(bench: Bench) -> None:
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)
    bench.player.at_once = False
    walk(bench.sitting, "play")
    _plays_on(bench, 1)


def _in_training(bench: Bench) -> None:
    walk(bench.sitting, *READY, *(f"hear:{i}" for i in range(4)))
    _plays_on(bench, 3)


def _rating(*marks: float) -> Callable[[Bench], None]:
    def act(bench: Bench) -> None:
        walk(bench.sitting, *READY, "hear:0")
        for place, mark in enumerate(marks, 1):
            walk(bench.sitting, f"hear:{place}", f"put:{mark:g}")
        _plays_on(bench, len(marks))

    return act


def _plays_on(bench: Bench, sound: int) -> None:
    bench.player.share = 0.4
    bench.player.switch(sound)
    bench.sitting.tick()


def _at(plan: Plan, act: Callable[[Bench], None], size: tuple[int, int] = SIZE) -> str:
    with tempfile.TemporaryDirectory() as folder:
        bench = stations.take_seat(Path(folder), plan)
        act(bench)
        spoken = words(plan.sitting.language)
        first = View(Stage.WELCOME, "")
        arrival = Arrival(
            first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda _: bench.sitting
        )
        arrival.sitting = bench.sitting
        app = StationApp(first, lambda: arrival, spoken)
        return asyncio.run(_drawn(app, size, lambda: app.arrival is not None))


async def _drawn(app: App[Any], size: tuple[int, int], is_ready: Callable[[], bool]) -> str:
    """The program's picture as soon as it does not change any more."""
    async with app.run_test(size=size) as pilot:
        while not is_ready():
            await pilot.pause(0.02)
        before, now = "", screen_picture.svg(app)
        while before != now:
            for _ in range(10):
                await pilot.pause(0.02)
            before, now = now, screen_picture.svg(app)
        return now
