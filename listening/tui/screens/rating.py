"""Rating on lying scales: the sounds that are not rated as panels, then one scale a rated sound."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from listening.tui.screens import scales
from listening.tui.screens.scales import ScaleRow
from listening.tui.screens.sheet import SPACES, Sheet, n_lines
from listening.tui.screens.sounds import LINES, LINES_SMALL, Sounds

if TYPE_CHECKING:
    from listening.session.showing.view import View

MOST = 12  # rated sounds of one trial


class Rating(Sheet):
    """Question, reference, one line a rated sound."""

    def parts(self) -> ComposeResult:
        yield Static(id="question")
        yield Static(id="status")
        yield Sounds()
        yield Static(id="labels")
        for _ in range(MOST):
            yield ScaleRow()

    def fill(self, view: "View") -> None:
        """The question and what to do now, then the scales under their labels."""
        self.put("question", Content.styled(view.question, "bold"))
        self.put("status", Content(view.status))
        self.query_one(Sounds).show(view.clips)
        self.put("labels", Content("\n".join(scales.labels(view, self.page_width))))
        padded = [*view.dials, *[None] * MOST][:MOST]
        for row, dial in zip(self.query(ScaleRow), padded, strict=True):
            row.show(dial)

    def n_lines(self, view: "View") -> int:
        """Lines that the question, its sounds and every scale need."""
        wanted = n_lines(view.question, self.page_width) + n_lines(view.status, self.page_width)
        sounds = (LINES + SPACES if self.is_roomy(view) else LINES_SMALL) if view.clips else 0
        return wanted + sounds + len(scales.labels(view, self.page_width)) + len(view.dials)
