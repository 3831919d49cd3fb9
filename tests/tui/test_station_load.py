"""What a station costs while it waits and after many trials; slow."""

import asyncio
import os
import sys
import time
from pathlib import Path

import pytest

from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.app import StationApp
from tests import alsa, stations, terminal
from tests.terminal import Terminal

pytestmark = pytest.mark.slow

WAITED_S = 20.0
CPU_SHARE = 0.10  # the station's bound while waiting
N_TRIALS = 500
WARM_TRIALS = 100  # caches are full by then
GROWTH_MB = 2.0  # over the other 400: less than a hundredth of what the program holds


@alsa.needed
@terminal.needed
def test_a_waiting_station_leaves_the_processor_alone(tmp_path: Path) -> None:
    study = stations.write_station(tmp_path / "study", stations.make_plan(n_practice=0))
    environment, _ = alsa.environment(tmp_path)
    with Terminal(f"{sys.executable} -m listening sit {study.root} --listener L01", environment) as window:
        window.opening()
        window.wait_for("Trial 1 of 4", "Press the space bar")
        before_s = cpu_s(window.process())
        time.sleep(WAITED_S)
        spent_s = cpu_s(window.process()) - before_s
    print(f"waiting: {100 * spent_s / WAITED_S:.1f} % of a processor")
    assert spent_s / WAITED_S < CPU_SHARE


def cpu_s(process: int) -> float:
    """Processor time of a process so far, its threads included."""
    after_name = Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(after_name[11]) + int(after_name[12])) / os.sysconf("SC_CLK_TCK")


def test_memory_stays_level_over_five_hundred_trials(tmp_path: Path) -> None:
    rules = stations.rules(break_every_trials=500)
    plan = stations.make_plan(n_trials=N_TRIALS, n_practice=0, n_slots=1, sitting=rules)
    bench = stations.take_seat(tmp_path, plan)
    stations.walk(bench.sitting, *stations.OPENING)
    held_mb = asyncio.run(_sat_through(bench))
    print(
        f"resident: {held_mb[WARM_TRIALS]:.1f} MB after {WARM_TRIALS}, {held_mb[N_TRIALS]:.1f} MB at the end"
    )
    assert held_mb[N_TRIALS] - held_mb[WARM_TRIALS] < GROWTH_MB


async def _sat_through(bench: stations.Bench) -> dict[int, float]:
    """Answer every trial by keys on the real screens; resident memory after so many."""
    spoken = words("en")
    first = View(Stage.WELCOME, "Listening test")
    arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda seat: bench.sitting)
    arrival.sitting = bench.sitting
    app = StationApp(first, lambda: arrival, spoken)
    held_mb = {}
    async with app.run_test(size=(80, 24)) as pilot:
        while app.arrival is None:
            await pilot.pause(0.01)
        for number in range(1, N_TRIALS + 1):
            await pilot.press("space", "b" if number % 2 else "a", "enter")
            if number in (WARM_TRIALS, N_TRIALS):
                held_mb[number] = resident_mb()
    assert len(bench.store.answers()) == N_TRIALS
    return held_mb


def resident_mb() -> float:
    """Memory of this process that is really held."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
