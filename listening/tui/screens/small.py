"""What a window that is too small shows, until it is large enough."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.geometry import Size
from textual.screen import Screen
from textual.widgets import Static

if TYPE_CHECKING:
    from listening.session.showing.words import Words

LEAST = Size(60, 18)  # below it a question, its answers and the keys do not all fit


class Small(Screen[None]):
    """Asks for a larger window; keys do nothing, for the answers cannot be seen."""

    def __init__(self, words: "Words", least: Size = LEAST) -> None:
        super().__init__()
        self._words = words
        self._least = least

    def compose(self) -> ComposeResult:
        yield Static(self._told(self.app.size), id="small")

    def on_resize(self) -> None:
        """Tell the new size."""
        self.query_one("#small", Static).update(self._told(self.app.size))

    def _told(self, size: Size) -> str:
        return self._words.text(
            "window_small",
            columns=size.width,
            rows=size.height,
            least_columns=self._least.width,
            least_rows=self._least.height,
        )


def is_too_small(size: Size) -> bool:
    """Whether a window of this size could hide an answer."""
    return size.width < LEAST.width or size.height < LEAST.height
