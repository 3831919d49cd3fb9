"""Setting the level: what to do, and how far the sound is."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.widgets import Static

from listening.tui.screens.sheet import Sheet, paragraphs
from listening.tui.screens.sounds import Sounds

if TYPE_CHECKING:
    from listening.session.showing.view import View


class Level(Sheet):
    """Instructions above the one sound."""

    def parts(self) -> ComposeResult:
        yield Static(id="middle")
        yield Sounds()

    def fill(self, view: "View") -> None:
        """Paragraphs, then the sound."""
        self.put("middle", paragraphs(view.body))
        self.query_one(Sounds).show(view.clips)
