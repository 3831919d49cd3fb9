"""The sounds of a step as panels that fill while they play; border, sign and word tell their state."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widget import Widget

from listening.tui.screens.pointing import Clicked

if TYPE_CHECKING:
    from listening.session.showing.view import ClipView

MOST = 4  # sounds side by side: three of a triangle, or two and a named reference
LINES = 4  # of a panel, its border counted
LINES_SMALL = 3  # where the window is low
FULL, EMPTY = "█", "░"


class SoundPanel(Widget):
    """One sound: its name in the border, how far it is, and whether it was heard."""

    def __init__(self) -> None:
        super().__init__(classes="sound")
        self._clip: ClipView | None = None

    def show(self, clip: "ClipView | None") -> None:
        """Draw a sound; None: this panel is not needed."""
        self.display = clip is not None
        if clip is None or clip == self._clip:
            return
        self._clip = clip
        self.border_title = Content(f" {clip.name} ") if clip.letter else None
        self.set_class(clip.sounding, "sounding")
        self.refresh()

    def on_click(self) -> None:
        """Hear this sound where sounds are heard one by one, else all of them."""
        if self.parent is not None:
            place = list(self.parent.children).index(self)
            self.post_message(Clicked(f"hear:{place}", "play", "stop_sound"))

    def render(self) -> Content:
        """The bar, and the state under it where there is room."""
        clip = self._clip
        if clip is None:
            return Content("")
        width = max(1, self.content_size.width)
        told = Content(f"▶ {clip.state}" if clip.sounding else f"{'✓' if clip.heard else ' '} {clip.state}")
        full = round((clip.share if clip.sounding else float(clip.heard)) * width)
        bar = Content.styled(FULL * full + EMPTY * (width - full), "" if clip.sounding else "dim")
        if self.content_size.height < LINES - 2:
            return bar if clip.sounding else told
        return Content("\n").join([*[bar] * (self.content_size.height - 1), told])


class Sounds(Horizontal):
    """A row of panels."""

    def compose(self) -> ComposeResult:
        for _ in range(MOST):
            yield SoundPanel()

    def show(self, clips: "tuple[ClipView, ...]") -> None:
        """Draw these sounds."""
        self.display = bool(clips)
        padded = [*clips, *[None] * MOST][:MOST]
        for panel, clip in zip(self.query(SoundPanel), padded, strict=True):
            panel.show(clip)
