"""Keys pressed at the welcome while the sound is made ready are heard, said at once, and done when it is."""

import asyncio
import threading
from pathlib import Path

import pytest
from textual.pilot import Pilot

from listening.commands.sit import first_view
from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage
from listening.tui.app import StationApp
from tests import stations

WITHIN_S = 60.0


async def _pressed(folder: Path, keys: list[str], *, is_back: bool = False) -> tuple[Stage, str]:
    """The stage after keys pressed before the sitting was open, and the hint that they got."""
    plan = stations.make_plan()
    bench = stations.take_seat(folder, plan)
    if is_back:
        stations.walk(bench.sitting, "go_on", "agree")
        bench.die()
        bench = stations.take_seat(folder, plan)
    first, spoken = first_view(stations.write_station(folder / "study", plan))
    arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda seat: bench.sitting)
    arrival.sitting = bench.sitting
    may_open = threading.Event()

    def opened() -> Arrival:
        may_open.wait(WITHIN_S)
        return arrival

    app = StationApp(first, opened, spoken)
    async with app.run_test() as pilot:
        await pilot.press(*keys)
        hint = app._first.hint
        may_open.set()
        await _until_open(pilot, app)
        return bench.sitting.stage, hint


async def _until_open(pilot: Pilot[None], app: StationApp) -> None:
    async with asyncio.timeout(WITHIN_S):
        while app.arrival is None:
            await pilot.pause(0.01)


@pytest.mark.parametrize(
    ("keys", "stage", "is_said"),
    [
        (["enter"], Stage.CONSENT, True),
        (["enter", "enter", "enter"], Stage.CONSENT, True),  # impatience agrees to nothing
        (["y"], Stage.WELCOME, False),
        (["enter", "escape"], Stage.LEAVING, True),
        ([], Stage.WELCOME, False),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_a_key_at_the_welcome_is_heard_before_the_sound_is_ready(
    tmp_path: Path, keys: list[str], stage: Stage, is_said: bool
) -> None:
    found, hint = asyncio.run(_pressed(tmp_path, keys))
    assert found is stage
    assert hint == ("One moment please: the sound is being made ready." if is_said else "")


def test_who_comes_back_reads_that_first(tmp_path: Path) -> None:
    assert asyncio.run(_pressed(tmp_path, ["enter"], is_back=True))[0] is Stage.WELCOME
