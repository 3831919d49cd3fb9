"""What an attribute means: the question, its explanation, and the pair of examples."""

from typing import TYPE_CHECKING

from textual.content import Content

from listening.tui.screens.sheet import Sheet, paragraphs
from listening.tui.screens.sounds import line

if TYPE_CHECKING:
    from listening.session.view import View


class Introduction(Sheet):
    """Question, explanation, examples."""

    def middle(self, view: "View") -> Content:
        """The question above the words that explain it."""
        sounds = Content("\n").join([line(clip) for clip in view.clips])
        return (
            Content.styled(view.question, "bold")
            + Content("\n\n")
            + paragraphs([*view.body, view.status])
            + "\n\n"
            + sounds
        )
