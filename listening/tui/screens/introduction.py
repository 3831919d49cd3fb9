"""What an attribute means: the question, its explanation, and the pair of examples."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from listening.tui.screens.sheet import Sheet, paragraphs
from listening.tui.screens.sounds import Sounds

if TYPE_CHECKING:
    from listening.session.showing.view import View


class Introduction(Sheet):
    """Question, explanation, examples."""

    def parts(self) -> ComposeResult:
        yield Static(id="question")
        yield Static(id="middle")
        yield Sounds()

    def fill(self, view: "View") -> None:
        """The question above the words that explain it, then the examples."""
        self.put("question", Content.styled(view.question, "bold"))
        self.put("middle", Content("\n") + paragraphs([*view.body, view.status]) + "\n")
        self.query_one(Sounds).show(view.clips)
