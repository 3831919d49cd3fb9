"""Whoever has a mouse may use it: a mark goes where it points, a click marks an answer or plays."""

import asyncio
from collections.abc import Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot
from textual.widget import Widget

from listening.tui.app import StationApp
from listening.tui.screens import scales
from listening.tui.screens.scales import ScaleRow
from listening.tui.screens.sounds import SoundPanel
from listening.tui.screens.trial import Answers
from tests import stations
from tests.session.test_training import OPENED, graded
from tests.stations import Bench, make_plan, take_seat, walk
from tests.tui.test_every_task import WITHIN_S, shown, until
from tests.tui.test_further_screens import on_screen


def at(share: float, row: Widget) -> tuple[int, int]:
    """The cell of a scale's share."""
    return (scales.HEAD_CELLS + round(share * (scales.cells(row.size.width) - 1)), 0)


async def clicked(
    pilot: Pilot[None],
    on: Callable[[], Widget],
    offset: Callable[[Widget], tuple[int, int]],
    is_so: Callable[[], bool],
) -> None:
    """Click until it has done what it should: the first may come before the screen has its final layout."""
    async with asyncio.timeout(WITHIN_S):
        while not is_so():
            await pilot.click(on(), offset=offset(on()))
            await pilot.pause(0.1)


def test_a_click_puts_the_mark_there_and_the_mark_follows_the_mouse(
    tmp_path: Path, rated: Callable[[], Bench]
) -> None:
    bench = rated()
    walk(bench.sitting, *OPENED, "play")

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        def row() -> Widget:
            return app.screen.query(ScaleRow).first()

        def stands_at(value: float) -> Callable[[], bool]:
            return lambda: bench.sitting.state.turn.values == (value,)

        await clicked(pilot, row, lambda on: at(0.25, on), stands_at(25.0))
        await pilot.mouse_down(row(), offset=at(0.5, row()))
        await pilot.hover(row(), offset=at(0.8, row()))
        await pilot.mouse_up(row(), offset=at(0.8, row()))
        await until(pilot, stands_at(80.0))
        await pilot.hover(row(), offset=at(0.1, row()))  # let go: it stays
        await pilot.pause()
        assert stands_at(80.0)()
        await clicked(pilot, row, lambda on: (0, 0), stands_at(0.0))  # on the name, left of the scale

    on_screen(bench, (160, 30), act)


def test_a_sound_not_heard_yet_is_not_marked(tmp_path: Path) -> None:
    bench = graded(tmp_path)
    walk(bench.sitting, *OPENED, "hear:1")

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        def row(place: int) -> Widget:
            return app.screen.query(ScaleRow)[place]

        told, marked = "First hear the sounds to their end", (0.0, None)
        await clicked(pilot, lambda: row(1), lambda on: at(0.5, on), lambda: told in shown(app))
        assert bench.sitting.state.turn.values == (None, None)
        await clicked(
            pilot, lambda: row(0), lambda on: at(0.0, on), lambda: bench.sitting.state.turn.values == marked
        )

    on_screen(bench, (100, 30), act)


@pytest.mark.parametrize(("size", "line"), [((80, 24), 1), ((100, 30), 2)], ids=["near", "apart"])
def test_sounds_and_answers_can_be_clicked(tmp_path: Path, size: tuple[int, int], line: int) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=1, n_practice=0))
    walk(bench.sitting, *stations.OPENING)

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        def answers() -> Widget:
            return app.screen.query_one(Answers)

        def panel() -> Widget:
            return app.screen.query(SoundPanel).first()

        def inside(_: Widget) -> tuple[int, int]:
            return (3, line)

        await pilot.click(answers(), offset=(3, line))  # too early: nothing
        await clicked(pilot, panel, inside, lambda: bench.sitting.state.turn.finished > 0)
        assert bench.sitting.state.turn.chosen is None
        if line > 1:
            await pilot.click(answers(), offset=(3, 1))  # between two answers: nothing
            assert bench.sitting.state.turn.chosen is None
        await clicked(pilot, answers, inside, lambda: bench.sitting.state.turn.chosen == "second")

    on_screen(bench, size, act)
