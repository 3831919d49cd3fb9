"""The desk as a live screen: who sits where and how far; keys pause or end a sitting."""

from collections.abc import Callable, Sequence
from typing import ClassVar

from textual import events
from textual.app import App, ComposeResult
from textual.binding import BindingType
from textual.content import Content
from textual.coordinate import Coordinate
from textual.widgets import DataTable, Static

from listening.errors import ListeningError

LOOK_S = 2.0
ACTS = {"p": "pause", "e": "end"}
KEYS = "Up/Down choose a listener   P ask for a pause   E end the sitting   Q leave the desk"
MAY_BE_MISSED = ("last sign", "slot", "dose", "to go", "void")  # what a narrow window drops, in this order
PADDING = 2  # cells around a column
CALLS, LIVE = "calls for help", ("sits", "paused", "calls for help")
Rows = Callable[[], Sequence[tuple[str, ...]]]


class Desk(App[None]):
    """Looks every two seconds."""

    CSS = """
    Screen { background: ansi_default; color: ansi_default; }
    DataTable { height: auto; max-height: 60%; background: ansi_default; }
    #below { height: 1fr; overflow-y: auto; padding: 1 1 0 1; }
    #told, #keys { height: auto; padding: 0 1; }
    """
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(
        self,
        head: Sequence[str],
        rows: Rows,
        below: Callable[[], Sequence[str]],
        ask: Callable[[str, str], None],
    ) -> None:
        """Look through `rows` (cells under `head`) and `below`; `ask` is told a listener and an act."""
        super().__init__(ansi_color=True)
        self._head = head
        self._rows = rows
        self._below = below
        self._ask = ask
        self._now: list[tuple[str, ...]] = []
        """The rows that stand there."""
        self._to_end = ""
        """The listener whose sitting ends if the key is pressed again."""
        self.trouble: ListeningError | None = None

    def compose(self) -> ComposeResult:
        yield DataTable(cursor_type="row", zebra_stripes=False)
        yield Static(id="below")
        yield Static(id="told")
        yield Static(KEYS, id="keys")

    def on_mount(self) -> None:
        """Draw, then look again and again."""
        self.query_one(DataTable).focus()
        self._look()
        self.set_interval(LOOK_S, self._look)

    def on_key(self, event: events.Key) -> None:
        """Ask for a pause or an end, or leave."""
        key = event.key.lower()
        if key in ("q", "ctrl+c", "escape"):
            self.exit()
        elif key in ACTS:
            self._guarded(lambda: self._act(ACTS[key]))
        else:
            self._to_end = ""

    def _act(self, act: str) -> None:
        if not self._now:
            return
        cells = self._now[self.query_one(DataTable).cursor_row]
        _, listener, state, *_ = cells
        if state not in LIVE:
            self._tell(f"{listener}: {state}; only a sitting under way can be paused or ended")
        elif act == "end" and self._to_end != listener:
            self._to_end = listener
            self._tell(f"{listener}: press E again to end the sitting; every confirmed answer is kept")
        else:
            self._to_end = ""
            self._ask(listener, act)
            self._tell(f"{listener}: asked to {act}; the booth does so within half a minute")

    def _look(self) -> None:
        self._guarded(self._draw)

    def _draw(self) -> None:
        table = self.query_one(DataTable)
        at, self._now = table.cursor_row, list(self._rows())
        table.clear(columns=True)
        widths = [max(map(len, column)) for column in zip(self._head, *self._now, strict=True)]
        kept = self._kept(widths)
        for place in kept:  # the toolkit keeps a column as wide as its first cells were
            table.add_column(self._head[place], width=widths[place])
        for cells in self._now:
            style = "bold reverse" if CALLS in cells else ""
            table.add_row(*[Content.styled(cells[place], style) for place in kept])
        if table.row_count:
            table.cursor_coordinate = Coordinate(min(at, table.row_count - 1), 0)
        self.query_one("#below", Static).update(Content("\n".join(self._below())))

    def _kept(self, widths: Sequence[int]) -> list[int]:
        """The columns that the window has room for; what may be missed goes first."""
        kept = list(range(len(widths)))
        for word in MAY_BE_MISSED:
            if sum(widths[place] + PADDING for place in kept) > self.size.width and word in self._head:
                kept.remove(self._head.index(word))
        return kept

    def _tell(self, text: str) -> None:
        self.query_one("#told", Static).update(Content(text))

    def _guarded(self, act: Callable[[], None]) -> None:
        """A lost folder ends the desk with its plain message."""
        if not self.screen_stack:
            return
        try:
            act()
        except ListeningError as error:
            self.trouble = error
            self.exit()
