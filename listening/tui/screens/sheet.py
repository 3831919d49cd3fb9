"""What all screens share: heading, a middle of their own, status, progress, and the line of keys."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from listening.tui.screens.firm import FIRM_SPACE

if TYPE_CHECKING:
    from listening.session.view import Action, View

BAR_CELLS = 24
MARGIN_CELLS = 4  # of the foot, both sides
KEY_GAP = "   "


class Sheet(Screen[None]):
    """A screen that can draw a view, as soon as its parts are there."""

    def __init__(self) -> None:
        super().__init__()
        self._composed = False
        self._shown: View | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="heading")
        yield VerticalScroll(Static(id="middle"), id="page", can_focus=False)
        with Vertical(id="foot"):
            yield Static(id="notice")
            yield Static(id="hint")
            yield Static(id="progress")
            yield Static(id="keys")

    def on_mount(self) -> None:
        """The parts are there: show what came before them."""
        self._composed = True
        self.on_resize()

    def on_resize(self) -> None:
        """Another width breaks the line of keys elsewhere."""
        if self._shown is not None:
            self.draw(self._shown)

    def draw(self, view: "View") -> None:
        """Show a view."""
        self._shown = view
        if not self._composed:
            return
        self._put("heading", Content.styled(view.heading, "bold"))
        self._put("middle", self.middle(view))
        self._put("notice", Content(f"! {view.notice}" if view.notice else ""))
        self._put("hint", Content(view.hint))
        self._put("progress", Content(_progress(view)))
        self._put("keys", keys(view.actions, self.size.width - MARGIN_CELLS))

    def middle(self, view: "View") -> Content:
        """The part that differs from screen to screen."""
        return paragraphs([*view.body, view.status])

    def scroll(self, lines: int) -> bool:
        """Move a text that is longer than the screen; False where it is not."""
        page = self.query_one("#page", VerticalScroll)
        page.scroll_relative(y=lines, animate=False)
        return page.max_scroll_y > 0

    def _put(self, name: str, content: Content) -> None:
        self.query_one(f"#{name}", Static).update(content)


def paragraphs(texts: Iterable[str]) -> Content:
    """Texts with an empty line between."""
    return Content("\n\n").join([Content(text) for text in texts if text])


def keys(actions: "Iterable[Action]", width: int) -> Content:
    """The line of keys: each key in reverse, then what it does; answers' keys stand beside the answers.

    A key and its words are never parted by the end of a line.
    """
    rows: list[list[Content]] = [[]]
    used = 0
    for action in actions:
        if action.name.startswith("choose:") or not action.shown:
            continue
        part = Content.styled(_firm(f" {action.shown} "), "reverse") + Content(_firm(f" {action.label}"))
        if rows[-1] and used + len(KEY_GAP) + part.cell_length > width:
            rows.append([])
            used = 0
        used += part.cell_length + (len(KEY_GAP) if rows[-1] else 0)
        rows[-1].append(part)
    return Content("\n").join([Content(_firm(KEY_GAP)).join(row) for row in rows])


def _firm(text: str) -> str:
    return text.replace(" ", FIRM_SPACE)


def _progress(view: "View") -> str:
    if not view.progress:
        return ""
    full = round(view.share_done * BAR_CELLS)
    return f"[{'#' * full}{'.' * (BAR_CELLS - full)}] {view.progress}"
