"""Training: every sound in a grid of small cells, each with its letter and how far it is."""

from typing import TYPE_CHECKING

from textual.app import ComposeResult
from textual.content import Content
from textual.widgets import Static

from listening.tui.screens.firm import FIRM_SPACE
from listening.tui.screens.sheet import Sheet, n_lines
from listening.tui.screens.sounds import EMPTY, FULL

if TYPE_CHECKING:
    from listening.session.showing.view import ClipView, View

CELL = 24  # columns of one sound
GAP = 2


class Training(Sheet):
    """Question, what to do, the sounds."""

    def parts(self) -> ComposeResult:
        yield Static(id="question")
        yield Static(id="middle")
        yield Static(id="sounds")

    def fill(self, view: "View") -> None:
        """The question to come, what to do now, the sounds."""
        self.put("question", Content.styled(view.question, "bold"))
        self.put("middle", Content("\n".join([*view.body, view.status, ""])))
        cells = [_cell(clip) for clip in view.clips]
        n = self._columns()
        rows = [cells[at : at + n] for at in range(0, len(cells), n)]
        self.put("sounds", Content("\n").join([Content(FIRM_SPACE * GAP).join(row) for row in rows]))

    def n_lines(self, view: "View") -> int:
        """Lines that the question, the words and every sound need."""
        texts = [view.question, *view.body, view.status]
        n_sounds = -(-len(view.clips) // self._columns())
        return sum(n_lines(text, self.page_width) for text in texts) + 1 + n_sounds

    def _columns(self) -> int:
        return max(1, (self.page_width + GAP) // (CELL + GAP))


def _cell(clip: "ClipView") -> Content:
    sign = "▶" if clip.sounding else "✓" if clip.heard else FIRM_SPACE
    head = f"{sign} {clip.name}"
    room = max(CELL - len(head) - 1, 1)
    full = round((clip.share if clip.sounding else float(clip.heard)) * room)
    text = f"{head} {FULL * full}{EMPTY * (room - full)}".replace(" ", FIRM_SPACE)
    return Content.styled(text, "bold" if clip.sounding else "")
