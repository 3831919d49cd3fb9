"""A trial with a list of answers: the question, the sounds one a line, the answers one a line."""

from typing import TYPE_CHECKING

from textual.content import Content

from listening.tui.screens.firm import FIRM_SPACE
from listening.tui.screens.sheet import Sheet
from listening.tui.screens.sounds import line

if TYPE_CHECKING:
    from listening.session.view import Choice, View


class Trial(Sheet):
    """Question, sounds, answers."""

    def middle(self, view: "View") -> Content:
        """The question and what to do now, above two short lists."""
        rows = [
            Content.styled(view.question, "bold"),
            Content(view.status),
            Content(""),
            *(line(clip) for clip in view.clips),
            Content(""),
            *(_answer(choice) for choice in view.choices),
        ]
        return Content("\n").join(rows)


def _answer(choice: "Choice") -> Content:
    """An answer's line: a bracket that fills, its key, its words; dim until it may be chosen."""
    mark = "X" if choice.chosen else FIRM_SPACE
    text = f"{FIRM_SPACE * 3}[{mark}] {choice.shown}  {choice.label}"
    style = "bold" if choice.chosen else "" if choice.allowed else "dim"
    return Content.styled(text, style)
