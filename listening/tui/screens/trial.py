"""A trial with a list of answers: the question, the sounds side by side, the answers one a line."""

from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from listening.tui.screens.firm import FIRM_SPACE
from listening.tui.screens.pointing import Clicked
from listening.tui.screens.sheet import SPACES, Sheet, n_lines
from listening.tui.screens.sounds import LINES, LINES_SMALL, Sounds

if TYPE_CHECKING:
    from listening.session.showing.view import Choice, View


class Answers(Static):
    """The answers, a line each; a click marks one."""

    names: tuple[str, ...] = ()
    """What each line's act is called."""
    spacing = 1
    """Lines from one answer to the next."""

    def on_click(self, event: events.Click) -> None:
        """Mark the answer of that line."""
        line, between = divmod(event.y, self.spacing)
        if not between and 0 <= line < len(self.names):
            self.post_message(Clicked(self.names[line]))


class Trial(Sheet):
    """Question, sounds, answers."""

    def parts(self) -> ComposeResult:
        yield Static(id="question")
        yield Static(id="status")
        yield Sounds()
        yield Answers(id="answers")

    def fill(self, view: "View") -> None:
        """The question and what to do now, the panels, the answers."""
        self.put("question", Content.styled(view.question, "bold"))
        self.put("status", Content(view.status))
        self.query_one(Sounds).show(view.clips)
        answers = self.query_one(Answers)
        answers.names = tuple(choice.name for choice in view.choices)
        answers.spacing = 2 if self.is_airy(view) else 1
        self.put("answers", Content("\n" * answers.spacing).join([_answer(c) for c in view.choices]))

    def n_lines(self, view: "View") -> int:
        """Lines that the question, its sounds and every answer need."""
        wanted = n_lines(view.question, self.page_width) + n_lines(view.status, self.page_width)
        sounds = (LINES + SPACES if self.is_roomy(view) else LINES_SMALL) if view.clips else 0
        return wanted + sounds + len(view.choices)


def _answer(choice: "Choice") -> Content:
    """An answer's line: a bracket that fills, its key, its words; dim until it may be chosen."""
    mark = "X" if choice.chosen else FIRM_SPACE
    text = f"{FIRM_SPACE}[{mark}] {choice.shown}  {choice.label}"
    style = "bold reverse" if choice.chosen else "" if choice.allowed else "dim"
    return Content.styled(text, style)
