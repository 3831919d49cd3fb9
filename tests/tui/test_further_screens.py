"""Training, the right answer told, and a comment, on the screen and in lines, by keys."""

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest
from textual.pilot import Pilot

from listening.session.answering import commenting
from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.app import StationApp
from listening.tui.screens.small import Small
from tests import stations
from tests.session.test_training import OPENED, graded, rehearsed, truly
from tests.stations import Bench, make_plan, take_seat, walk
from tests.tui.test_every_task import shown, until
from tests.tui.test_lines import typed

SIZES = [(60, 18), (80, 24), (200, 60)]


def on_screen(
    bench: Bench, size: tuple[int, int], act: Callable[[StationApp, Pilot[None]], Awaitable[None]]
) -> None:
    """Show a sitting and press keys."""

    async def run() -> None:
        first, spoken = View(Stage.WELCOME, "Listening test"), words("en")
        arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda _: False, sit=lambda _: bench.sitting)
        arrival.sitting = bench.sitting
        app = StationApp(first, lambda: arrival, spoken)
        async with app.run_test(size=size) as pilot:
            heading = bench.sitting.view().heading
            await until(pilot, lambda: app.arrival is not None and heading in shown(app))
            await act(app, pilot)

    asyncio.run(run())


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_the_training_screen_holds_every_sound_and_its_keys(tmp_path: Path, size: tuple[int, int]) -> None:
    bench = graded(tmp_path, training=True)
    walk(bench.sitting, *OPENED)

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        assert not isinstance(app.screen, Small)
        text = shown(app)
        for wanted in ("Training", "Hear each of them", *(f"Sound {n}" for n in "RABCD")):
            assert wanted in text
        for key in "rabcd":
            await pilot.press(key)
        await until(pilot, lambda: "heard every sound on this page" in shown(app))
        await pilot.press("enter")
        await until(pilot, lambda: "Practice 1 of 1" in shown(app))

    on_screen(bench, size, act)


def test_a_comment_is_typed_on_the_screen_as_it_is_written(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=1, n_practice=0, sitting=stations.rules(comments="end")))
    walk(bench.sitting, *stations.OPENING)
    stations.one_trial(bench.sitting)

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        await pilot.press("P", "a", "space", "n", "x", "backspace", "f")
        await until(pilot, lambda: "> Pa nf_" in shown(app))
        await pilot.press("enter")
        await until(pilot, lambda: "The end" in shown(app))

    on_screen(bench, (80, 24), act)
    assert commenting.of_events(bench.store.events()) == [("at the end", "Pa nf")]


def test_the_right_answer_stands_on_the_screen(tmp_path: Path) -> None:
    bench = rehearsed(tmp_path, "triangle")
    walk(bench.sitting, "play", f"choose:{truly(bench)}", "confirm")

    async def act(app: StationApp, pilot: Pilot[None]) -> None:
        await until(pilot, lambda: "That was right: Sound" in shown(app))

    on_screen(bench, (60, 18), act)


def test_training_and_comment_in_lines(tmp_path: Path) -> None:
    bench = graded(tmp_path, training=True, comments="each trial")
    rated = ("r", "a", "30", "b", "60", "")
    wrote = typed(
        bench, "", "y", "play", "", "", *"rabcd", "", *rated, *rated, "B is Duller, I think", *rated, ""
    )
    assert commenting.of_events(bench.store.events()) == [("002", "B is Duller, I think")]
    assert [a.answer for a in bench.store.answers()] == ["30 60"] * 3
    assert sum("== Your comment" in line for line in wrote) == 2


def test_the_last_answer_is_changed_by_a_word(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan(n_trials=2, n_practice=0))
    opening = ("", "y", "play", "", "play", "")
    wrote = typed(bench, *opening, "play", "a", "", "change", "b", "", "play", "a", "", "")
    assert [a.answer for a in bench.store.answers()] == ["second", "first"]
    assert any("change: change the last answer" in line for line in wrote)
