"""The desk's live screen: a pause by one key, an end by two, nothing for a sitting that is over."""

import asyncio

import pytest
from textual.widgets import DataTable, Static

from listening.errors import ListeningError
from listening.tui.desk_screen import Desk

HEAD = ("slot", "listener", "state", "stage")
ROWS = [
    ("0", "L01", "sits", "trials"),
    ("1", "L02", "calls for help", "trials"),
    ("2", "L03", "finished", "done"),
]


def driven(*keys: str, rows: list[tuple[str, ...]] = ROWS) -> tuple[list[tuple[str, str]], str, int]:
    """What was asked of whom, what was told last, and how many rows stand there."""
    asked: list[tuple[str, str]] = []

    async def drive() -> tuple[str, int]:
        desk = Desk(HEAD, lambda: rows, lambda: ["3 slots dealt"], lambda *given: asked.append(given))
        async with desk.run_test(size=(80, 24)) as pilot:
            await pilot.press(*keys)
            await pilot.pause()
            told = str(desk.query_one("#told", Static).render())
            return told, desk.query_one(DataTable).row_count

    told, n_rows = asyncio.run(drive())
    return asked, told, n_rows


def test_a_key_asks_the_chosen_sitting_for_a_pause() -> None:
    asked, told, n_rows = driven("down", "p")
    assert asked == [("L02", "pause")]
    assert "L02: asked to pause" in told
    assert n_rows == 3


def test_a_sitting_ends_at_the_second_press_only() -> None:
    assert driven("e")[0] == []
    assert driven("e", "e")[0] == [("L01", "end")]
    assert driven("e", "down", "e")[0] == []


@pytest.mark.parametrize("key", ["p", "e"])
def test_a_sitting_that_is_over_is_left_alone(key: str) -> None:
    asked, told, _ = driven("down", "down", key, key)
    assert asked == []
    assert "L03: finished" in told


def test_an_empty_desk_takes_keys() -> None:
    assert driven("p", "e", "e", "down", rows=[])[0] == []


def test_a_lost_study_ends_the_desk_with_its_message() -> None:
    def lost() -> list[tuple[str, ...]]:
        raise ListeningError("no station there")

    async def drive() -> ListeningError | None:
        desk = Desk(HEAD, lost, list, lambda *_: None)
        async with desk.run_test():
            pass
        return desk.trouble

    trouble = asyncio.run(drive())
    assert str(trouble) == "no station there"


WIDE_HEAD = ("slot", "listener", "state", "stage", "trials", "to go", "void", "last sign", "dose")
WIDE_ROWS = [
    ("0", "K7PQX", "sits", "question explained", "1/72", "112 min", "0", "10:12:04", "78.2 dB A"),
    ("1", "M2NRT", "calls for help", "trials", "12/72", "17 min", "1", "10:12:02", "76.9 dB A"),
]


@pytest.mark.parametrize(
    ("width", "missed"),
    [(60, {"slot", "last sign", "dose", "to go"}), (80, {"last sign", "slot"}), (120, set())],
)
def test_no_cell_is_cut_and_a_narrow_window_drops_what_may_be_missed(width: int, missed: set[str]) -> None:
    async def drive() -> list[str]:
        desk = Desk(WIDE_HEAD, lambda: WIDE_ROWS, lambda: [], lambda *_: None)
        async with desk.run_test(size=(width, 24)) as pilot:
            await pilot.pause()
            strips = desk.screen._compositor.render_strips()
            return [strip.text.rstrip() for strip in strips[: 1 + len(WIDE_ROWS)]]

    for cells, line in zip((WIDE_HEAD, *WIDE_ROWS), asyncio.run(drive()), strict=True):
        kept = [cell for word, cell in zip(WIDE_HEAD, cells, strict=True) if word not in missed]
        assert line.split() == " ".join(kept).split()
