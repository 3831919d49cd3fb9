"""What a terminal pastes is typed where something may be written, and nothing else becomes of it."""

import asyncio
from pathlib import Path

from textual import events
from textual.pilot import Pilot

from listening.session.seating.arrival import Arrival
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage, View
from listening.session.showing.words import words
from listening.tui.app import StationApp
from tests.session.test_tasks import A, B, at_trial, plan_of
from tests.stations import Bench, walk


async def _pasted(bench: Bench, text: str, keys: tuple[str, ...] = ()) -> None:
    first, spoken = View(Stage.WELCOME, "Listening test"), words("en")
    arrival = Arrival(first, spoken, seat=Seat(), is_known=lambda code: False, sit=lambda seat: bench.sitting)
    arrival.sitting = bench.sitting
    app = StationApp(first, lambda: arrival, spoken)
    async with app.run_test() as pilot:
        await _open(pilot, app)
        app.post_message(events.Paste(text))
        await pilot.pause()
        await pilot.press(*keys)


async def _open(pilot: Pilot[None], app: StationApp) -> None:
    while app.arrival is None:
        await pilot.pause(0.01)


def test_a_pasted_number_is_shown_and_waits_for_enter(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("continuous rating", (A,), scale=("not at all", "extremely")))
    walk(bench.sitting, "play")
    asyncio.run(_pasted(bench, " 72\n"))
    assert bench.sitting.view().dials[0].text == "72_"
    assert not bench.store.answers()
    asyncio.run(_pasted(bench, "", ("enter",)))
    assert [a.answer for a in bench.store.answers()] == ["72"]


def test_pasted_keys_answer_nothing(tmp_path: Path) -> None:
    bench = at_trial(tmp_path, plan_of("2-AFC", (A, B)))
    walk(bench.sitting, "play")
    asyncio.run(_pasted(bench, "a\n\n"))
    assert bench.sitting.state.turn.chosen is None
    assert "does nothing here" in bench.sitting.view().hint


def test_a_pasted_code_is_asked_for_with_enter() -> None:
    arrival = Arrival(
        View(Stage.WELCOME, ""), words("en"), seat=Seat(), is_known=lambda code: False, sit=print
    )
    assert not arrival.paste("K7PQX")
    arrival.act("have_code")
    assert arrival.paste(" k7pqx\n")
    assert arrival.view().status == "Your code: K7PQX_"
    assert not arrival.paste("two words; no code")
