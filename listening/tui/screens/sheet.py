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


class Sheet(Screen[None]):
    """A screen that can draw a view, as soon as its parts are there."""

    def __init__(self) -> None:
        super().__init__()
        self._composed = False
        self._waiting: View | None = None

    def compose(self) -> ComposeResult:
        yield Static(id="heading")
        yield VerticalScroll(Static(id="middle"), id="page", can_focus=False)
        with Vertical(id="foot"):
            yield Static(id="notice")
            yield Static(id="progress")
            yield Static(id="keys")

    def on_mount(self) -> None:
        """The parts are there: show what came before them."""
        self._composed = True
        if self._waiting is not None:
            self.draw(self._waiting)

    def draw(self, view: "View") -> None:
        """Show a view."""
        if not self._composed:
            self._waiting = view
            return
        self._put("heading", Content.styled(view.heading, "bold"))
        self._put("middle", self.middle(view))
        self._put("notice", Content(f"! {view.notice}" if view.notice else ""))
        self._put("progress", Content(_progress(view)))
        self._put("keys", keys(view.actions))

    def middle(self, view: "View") -> Content:
        """The part that differs from screen to screen."""
        return paragraphs([*view.body, view.status])

    def scroll(self, lines: int) -> None:
        """Move a text that is longer than the screen."""
        self.query_one("#page", VerticalScroll).scroll_relative(y=lines, animate=False)

    def _put(self, name: str, content: Content) -> None:
        self.query_one(f"#{name}", Static).update(content)


def paragraphs(texts: Iterable[str]) -> Content:
    """Texts with an empty line between."""
    return Content("\n\n").join([Content(text) for text in texts if text])


def keys(actions: "Iterable[Action]") -> Content:
    """The line of keys: each key in reverse, then what it does; answers' keys stand beside the answers."""
    shown = [a for a in actions if not a.name.startswith("choose:") and a.shown]
    parts = [_whole(a.shown, "reverse") + Content(FIRM_SPACE) + _whole(a.label) for a in shown]
    return Content("  ").join(parts)


def _whole(text: str, style: str = "") -> Content:
    """Words that no line end may part."""
    text = text.replace(" ", FIRM_SPACE)
    return Content.styled(f"{FIRM_SPACE}{text}{FIRM_SPACE}", style) if style else Content(text)


def _progress(view: "View") -> str:
    if not view.progress:
        return ""
    full = round(view.share_done * BAR_CELLS)
    return f"[{'#' * full}{'.' * (BAR_CELLS - full)}] {view.progress}"
