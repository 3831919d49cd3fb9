"""A lying scale as wide as the window: labels over ticks, a mark that moves by keys or typed numbers."""

import textwrap
from typing import TYPE_CHECKING

from textual.content import Content
from textual.widget import Widget

from listening.tui.screens.firm import FIRM_SPACE

if TYPE_CHECKING:
    from listening.session.view import DialView

HEAD_CELLS = 14  # before the scale: a sign and the sound's name
TAIL_CELLS = 15  # behind it: the number, or that none is set
WIDEST = 160
LABEL_LINES = 3
TICKS = 10  # parts of the scale between ticks


class ScaleRow(Widget):
    """One sound and its scale."""

    def __init__(self) -> None:
        super().__init__(classes="scale")
        self._dial: DialView | None = None

    def show(self, dial: "DialView | None") -> None:
        """Draw a scale; None: this row is not needed."""
        self.display = dial is not None
        self._dial = dial
        self.refresh()

    def render(self) -> Content:
        """A line: sign, name, scale, number."""
        if self._dial is None:
            return Content("")
        clip = self._dial.clip
        sign = "▶" if clip.sounding else "✓" if clip.heard else FIRM_SPACE
        chosen = ">" if self._dial.selected else FIRM_SPACE
        head = f"{chosen} {sign} {clip.name}"[: HEAD_CELLS - 1]
        scale = track(self._dial.share, cells(self.size.width))
        row = Content(f"{head:<{HEAD_CELLS}}{scale} {self._dial.text}".replace(" ", FIRM_SPACE))
        return row.stylize("bold") if self._dial.selected else row


def cells(width: int) -> int:
    """Cells of the scale itself in a line of `width`; odd, so that it has a middle."""
    own = min(width, WIDEST) - HEAD_CELLS - TAIL_CELLS
    return max(own - 1 + own % 2, 11)


def track(share: float | None, width: int) -> str:
    """The scale with its ticks, and the mark where it stands."""
    line = ["─"] * width
    for tick in range(TICKS + 1):
        line[round(tick * (width - 1) / TICKS)] = "┼"
    line[0], line[-1] = "├", "┤"
    if share is not None:
        line[round(share * (width - 1))] = "●"
    return "".join(line)


def labels(scale: tuple[str, ...], width: int) -> list[str]:
    """Lines of labels, each over its place on the scale and broken within its own share of the width."""
    if not scale:
        return []
    own = cells(width)
    room = own // max(len(scale) - 1, 1) if len(scale) > 2 else own // 2
    if max(len(word) for label in scale for word in label.split()) > room - 2:
        return _legend(scale, width)
    broken = [textwrap.wrap(label, max(room - 2, 4))[:LABEL_LINES] or [""] for label in scale]
    n_lines = max(len(lines) for lines in broken)
    made = []
    for number in range(n_lines):
        row = [FIRM_SPACE] * (HEAD_CELLS + own + TAIL_CELLS)
        for i, lines in enumerate(broken):
            text = ([""] * (n_lines - len(lines)) + lines)[number]
            at = HEAD_CELLS + round(i * (own - 1) / max(len(scale) - 1, 1)) - len(text) // 2
            at = max(at, 0) if i else HEAD_CELLS
            if i and i == len(scale) - 1:
                at = min(at, HEAD_CELLS + own + TAIL_CELLS - len(text))
            row[at : at + len(text)] = text.replace(" ", FIRM_SPACE)
        made.append("".join(row).rstrip(FIRM_SPACE))
    return made


def _legend(scale: tuple[str, ...], width: int) -> list[str]:
    """The labels in running text with their numbers, where they do not fit over their places."""
    told = (f"{round(100 * i / max(len(scale) - 1, 1))} = {label}" for i, label in enumerate(scale))
    return textwrap.wrap(", ".join(told), width)
