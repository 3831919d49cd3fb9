"""Whoever has a mouse may use it: a mark goes where it points, a click marks an answer or plays."""

from collections.abc import Callable
from pathlib import Path

from textual.pilot import Pilot

from listening.tui.app import StationApp
from listening.tui.screens import scales
from listening.tui.screens.scales import ScaleRow
from listening.tui.screens.sounds import SoundPanel
from listening.tui.screens.trial import Answers
from tests import stations
from tests.session.test_training import OPENED, graded
from tests.stations import Bench, make_plan, take_seat, walk
from tests.tui.test_every_task import shown, until
from tests.tui.test_further_screens import on_screen


def at(share: float, row: ScaleRow) -> tuple[int, int]:
    """The cell of a scale's share."""
    return (scales.HEAD_CELLS + round(share * (scales.cells(row.size.width) - 1)), 0)


def test_a_click_puts_the_mark_there_and_the_mark_follows_the_mouse(
    tmp_path: Path, rated: Callable[[], Bench]
) -> None:
    bench = rated()
    walk(bench.sitting, *OPENED, "play")

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        row = app.screen.query(ScaleRow).first()
        await pilot.click(row, offset=at(0.25, row))
        await until(pilot, lambda: bench.sitting.state.turn.values == (25.0,))
        await pilot.mouse_down(row, offset=at(0.5, row))
        await pilot.hover(row, offset=at(0.8, row))
        await pilot.mouse_up(row, offset=at(0.8, row))
        await until(pilot, lambda: bench.sitting.state.turn.values == (80.0,))
        await pilot.hover(row, offset=at(0.1, row))  # let go: it stays
        await pilot.pause()
        assert bench.sitting.state.turn.values == (80.0,)
        await pilot.click(row, offset=(0, 0))  # on the name, left of the scale: its lowest end
        await until(pilot, lambda: bench.sitting.state.turn.values == (0.0,))

    on_screen(bench, (160, 30), act)


def test_a_sound_not_heard_yet_is_not_marked(tmp_path: Path) -> None:
    bench = graded(tmp_path)
    walk(bench.sitting, *OPENED, "hear:1")

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        first, second = list(app.screen.query(ScaleRow))[:2]
        await pilot.click(second, offset=at(0.5, second))
        await until(pilot, lambda: "First hear the sounds to their end" in shown(app))
        await pilot.click(first, offset=at(0.0, first))
        await until(pilot, lambda: bench.sitting.state.turn.values == (0.0, None))

    on_screen(bench, (100, 30), act)


def test_sounds_and_answers_can_be_clicked(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=1, n_practice=0))
    walk(bench.sitting, *stations.OPENING)

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        await pilot.click(Answers, offset=(3, 1))  # too early: nothing
        await pilot.click(SoundPanel)
        await until(pilot, lambda: bench.sitting.state.turn.finished == 1)
        assert bench.sitting.state.turn.chosen is None
        await pilot.click(Answers, offset=(3, 1))
        await until(pilot, lambda: bench.sitting.state.turn.chosen == "second")

    on_screen(bench, (80, 24), act)
