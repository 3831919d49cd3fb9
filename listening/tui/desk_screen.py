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
        self.query_one(DataTable).add_columns(*self._head)
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
        table = self.query_one(DataTable)
        if not table.row_count:
            return
        _, listener, state, *_ = map(str, table.get_row_at(table.cursor_row))
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
        at = table.cursor_row
        table.clear()
        for cells in self._rows():
            style = "bold reverse" if CALLS in cells else ""
            table.add_row(*[Content.styled(cell, style) for cell in cells])
        if table.row_count:
            table.cursor_coordinate = Coordinate(min(at, table.row_count - 1), 0)
        self.query_one("#below", Static).update(Content("\n".join(self._below())))

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
