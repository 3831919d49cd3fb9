"""A lying scale as wide as the window: labels over ticks, a mark that moves by keys or typed numbers."""

import textwrap
from typing import TYPE_CHECKING

from textual import events
from textual.content import Content
from textual.widget import Widget

from listening.tui.screens.firm import FIRM_SPACE
from listening.tui.screens.pointing import Pointed

if TYPE_CHECKING:
    from listening.session.showing.view import DialView, View

HEAD_CELLS = 14  # before the scale: a sign and the sound's name
TAIL_CELLS = 20  # behind it: the number, or that none is set, in the longest words of any language
WIDEST = 160
LEAST_BETWEEN = 3  # cells from one tick to the next
LABEL_LINES = 3


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

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """The mark goes where the mouse points, and follows it until the button is let go."""
        self.capture_mouse()
        self._point(event.x)

    def on_mouse_move(self, event: events.MouseMove) -> None:
        """Follow the mouse."""
        if self.app.mouse_captured is self:
            self._point(event.x)

    def on_mouse_up(self) -> None:
        """Let go."""
        self.release_mouse()

    def _point(self, x: int) -> None:
        width = cells(self.size.width)
        share = min(max((x - HEAD_CELLS) / (width - 1), 0.0), 1.0)
        self.post_message(Pointed(self, share))

    def render(self) -> Content:
        """A line: sign, name, scale, number."""
        if self._dial is None:
            return Content("")
        clip = self._dial.clip
        sign = "▶" if clip.sounding else "✓" if clip.heard else FIRM_SPACE
        chosen = ">" if self._dial.selected else FIRM_SPACE
        head = f"{chosen} {sign} {clip.name}"[: HEAD_CELLS - 1]
        scale = track(self._dial.share, cells(self.size.width), self._dial.parts)
        row = Content(f"{head:<{HEAD_CELLS}}{scale} {self._dial.text}".replace(" ", FIRM_SPACE))
        return row.stylize("bold") if self._dial.selected else row


def cells(width: int) -> int:
    """Cells of the scale itself in a line of `width`; odd, so that it has a middle."""
    own = min(width, WIDEST) - HEAD_CELLS - TAIL_CELLS
    return max(own - 1 + own % 2, 11)


def track(share: float | None, width: int, parts: int) -> str:
    """The scale with its ticks, and the mark where it stands."""
    while parts % 2 == 0 and (width - 1) / parts < LEAST_BETWEEN:  # ticks side by side tell nothing
        parts //= 2
    line = ["─"] * width
    for tick in range(parts + 1):
        line[round(tick * (width - 1) / parts)] = "┼"
    line[0], line[-1] = "├", "┤"
    if share is not None:
        line[round(share * (width - 1))] = "●"
    return "".join(line)


def labels(view: "View", width: int) -> list[str]:
    """Lines of labels, each over its place or band and broken within its own share of the width."""
    if not view.scale:
        return []
    scale, own = view.scale, cells(width)
    parts = len(scale) if view.has_bands else max(len(scale) - 1, 1)
    room = own // (2 if len(scale) <= 2 else parts)
    if max(len(word) for label in scale for word in label.split()) > room - 2:
        return _legend(view, width)
    broken = [textwrap.wrap(label, max(room - 2, 4)) or [""] for label in scale]
    n_lines = max(len(lines) for lines in broken)
    if n_lines > LABEL_LINES:
        return _legend(view, width)
    return [
        _label_row([([""] * (n_lines - len(lines)) + lines)[number] for lines in broken], own, view.has_bands)
        for number in range(n_lines)
    ]


def _label_row(texts: list[str], own: int, has_bands: bool) -> str:
    """One line of all labels, each in the middle over its place or band, as far as the window lets it."""
    row = [FIRM_SPACE] * (HEAD_CELLS + own + TAIL_CELLS)
    for i, text in enumerate(texts):
        share = (i + 0.5) / len(texts) if has_bands else i / max(len(texts) - 1, 1)
        at = HEAD_CELLS + round(share * (own - 1)) - len(text) // 2
        at = max(0, min(at, len(row) - len(text)))
        row[at : at + len(text)] = text.replace(" ", FIRM_SPACE)
    return "".join(row).rstrip(FIRM_SPACE)


def _legend(view: "View", width: int) -> list[str]:
    """The labels in running text with their numbers, where they do not fit over their places."""
    return textwrap.wrap(", ".join(view.numbered_scale()), width)
