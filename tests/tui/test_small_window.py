"""A window too small to show the answers takes no keys, and goes on by itself once it is larger."""

import asyncio
from collections.abc import Callable
from pathlib import Path

from textual.pilot import Pilot

from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.app import StationApp
from listening.tui.screens.small import Small
from listening.tui.screens.trial import Trial
from tests import stations

WITHIN_S = 60.0


def test_nothing_can_be_done_unseen(tmp_path: Path) -> None:
    bench = stations.take_seat(tmp_path, stations.make_plan())
    stations.walk(bench.sitting, *stations.OPENING)
    asyncio.run(_small_then_large(bench))


async def _small_then_large(bench: stations.Bench) -> None:
    first, spoken = View(Stage.WELCOME, "Listening test"), words("en")
    arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda seat: bench.sitting)
    arrival.sitting = bench.sitting
    app = StationApp(first, lambda: arrival, spoken)
    n_played = len(bench.player.started)
    async with app.run_test(size=(50, 15)) as pilot:
        await _until(pilot, lambda: app.arrival is not None and isinstance(app.screen, Small))
        await pilot.press("space")
        assert len(bench.player.started) == n_played
        await pilot.resize_terminal(80, 24)
        await _until(pilot, lambda: isinstance(app.screen, Trial))
        await pilot.press("space")
        await _until(pilot, lambda: len(bench.player.started) == n_played + 1)


async def _until(pilot: Pilot[None], is_so: Callable[[], bool]) -> None:
    async with asyncio.timeout(WITHIN_S):
        while not is_so():
            await pilot.pause(0.01)
