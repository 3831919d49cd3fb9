"""Setting the level: what to do, and whether the sound plays."""

from typing import TYPE_CHECKING

from textual.content import Content

from listening.tui.screens.sheet import Sheet, paragraphs
from listening.tui.screens.sounds import line

if TYPE_CHECKING:
    from listening.session.view import View


class Level(Sheet):
    """Instructions above the one sound."""

    def middle(self, view: "View") -> Content:
        """Paragraphs, then the sound's line."""
        return paragraphs(view.body) + Content("\n\n") + Content("\n").join([line(c) for c in view.clips])
