"""Rating on lying scales: one sound a line, its mark moved by keys."""

from typing import TYPE_CHECKING

from textual.content import Content

from listening.tui.screens.firm import FIRM_SPACE
from listening.tui.screens.sheet import Sheet
from listening.tui.screens.sounds import line

if TYPE_CHECKING:
    from listening.session.view import DialView, View

CELLS = 41  # of a scale; odd, so that it has a middle
HEAD_CELLS = 9  # before the scale: two marks and the letter


class Rating(Sheet):
    """Question, reference, one line a rated sound."""

    def middle(self, view: "View") -> Content:
        """The question and what to do now, then the lines under the labels of the scale."""
        rows = [
            Content.styled(view.question, "bold"),
            Content(view.status),
            Content(""),
            *(line(clip) for clip in view.clips),
            *(Content(row) for row in _labels(view.scale)),
            *(_dial(dial) for dial in view.dials),
        ]
        return Content("\n").join(rows)


def _dial(dial: "DialView") -> Content:
    clip = dial.clip
    mark = ">>" if clip.sounding else FIRM_SPACE * 2
    head = f"{'*' if dial.selected else FIRM_SPACE}  {mark} {clip.letter}"
    cells = ["-"] * CELLS
    cells[CELLS // 2] = "+"
    if dial.share is not None:
        cells[round(dial.share * (CELLS - 1))] = "O"
    text = f"{head:<{HEAD_CELLS}}|{''.join(cells)}| {dial.text}".replace(" ", FIRM_SPACE)
    return Content.styled(text, "bold") if dial.selected else Content(text)


def _labels(scale: tuple[str, ...]) -> list[str]:
    """The labels above the scale, each centred on its place; with their numbers when they do not fit."""
    if not scale:
        return []
    row = [FIRM_SPACE] * (HEAD_CELLS + CELLS + 16)
    for i, label in enumerate(scale):
        at = HEAD_CELLS + 1 + round(i * (CELLS - 1) / max(len(scale) - 1, 1)) - len(label) // 2
        if any(cell != FIRM_SPACE for cell in row[max(at - 1, 0) : at + len(label) + 1]):
            return ["   ".join(f"{_value(i, scale)} = {text}" for i, text in enumerate(scale))]
        row[at : at + len(label)] = label.replace(" ", FIRM_SPACE)
    return ["".join(row).rstrip(FIRM_SPACE)]


def _value(i: int, scale: tuple[str, ...]) -> str:
    return f"{round(100 * i / (len(scale) - 1))}"
