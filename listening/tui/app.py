"""The full-screen program: one clock, one place where keys become acts, one place where views are drawn."""

import os
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import App
from textual.binding import BindingType
from textual.geometry import Size

from listening.errors import ListeningError
from listening.session.actions import Action
from listening.session.showing.view import Stage, View
from listening.tui.screens import small
from listening.tui.screens.introduction import Introduction
from listening.tui.screens.level import Level
from listening.tui.screens.pointing import Clicked, Pointed
from listening.tui.screens.rating import Rating
from listening.tui.screens.reading import Reading
from listening.tui.screens.scales import ScaleRow
from listening.tui.screens.sheet import Sheet
from listening.tui.screens.small import Small
from listening.tui.screens.training import Training
from listening.tui.screens.trial import Trial

if TYPE_CHECKING:
    from listening.session.seating.arrival import Arrival
    from listening.session.showing.words import Words
    from listening.session.sitting import Sitting

TICK_S = 0.04
SCROLLED = {"up": -1, "down": 1, "pageup": -10, "pagedown": 10}  # lines of a text longer than the screen
SCREENS = {
    Stage.QUESTIONNAIRE: Trial,
    Stage.LEVEL: Level,
    Stage.INTRODUCTION: Introduction,
    Stage.TRAINING: Training,
    Stage.FEEDBACK: Introduction,
    Stage.TRIAL: Trial,
}


class StationApp(App[None]):
    """Shows `first` at once, opens the sitting behind it, then follows the session."""

    CSS_PATH = "station.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, first: View, open_station: "Callable[[], Arrival]", words: "Words") -> None:
        super().__init__(ansi_color=True)
        for name in ("COLUMNS", "LINES"):  # they stand still when the window changes
            os.environ.pop(name, None)
        self.arrival: Arrival | None = None
        self.trouble: Exception | None = None
        """Why it ended, when it did not end by the listener's will."""
        self.ended_by = 0
        """The signal that ended it, if one did."""
        self._first = first
        self._open_station = open_station
        self._words = words
        self._wanted: Action | None = None
        """What the listener pressed at the welcome before the sitting was open."""
        self._drawn: View | None = None
        self._small_at: Size | None = None
        """The window's size when it was last found too small."""

    @property
    def sitting(self) -> "Sitting | None":
        """The sitting, once its seat is taken."""
        return self.arrival.sitting if self.arrival is not None else None

    def on_mount(self) -> None:
        """First paint, then the work."""
        self.push_screen(Reading())
        self.call_after_refresh(self._show_first)
        self.run_worker(self._open, thread=True, exit_on_error=False)
        self.set_interval(TICK_S, self._tick)

    def on_key(self, event: events.Key) -> None:
        """Do what the key stands for now."""
        event.prevent_default()
        key = event.key.removeprefix("shift+").lower()
        if key == "ctrl+c":
            self._ask_to_leave()
        elif self._session is None:
            self._before_it_is_open(key)
        elif isinstance(self.screen, Small):
            return
        elif (act := next((a.name for a in self._session.actions() if a.key == key), None)) is not None:
            self._guarded(lambda session: session.act(act))
        elif event.is_printable and self._session.type_text(event.character or ""):
            self._guarded(lambda session: None)
        elif isinstance(self.screen, Sheet) and key in SCROLLED and self.screen.scroll(SCROLLED[key]):
            return
        else:
            shown = self._words.table.get(f"key_{key}") or (event.character if event.is_printable else "")
            self._guarded(lambda session: session.wrong_key((shown or "").upper()))

    def on_paste(self, event: events.Paste) -> None:
        """What a terminal pastes is typed, where something may be written; no key is made of it."""
        event.prevent_default()
        if self._session is not None and not isinstance(self.screen, Small):
            self._guarded(lambda session: session.paste(event.text) or session.wrong_key(""))

    def on_clicked(self, event: Clicked) -> None:
        """Do what was clicked, as its key does; nothing where it is not offered now."""
        if not isinstance(self.screen, Small):
            self._guarded(lambda session: any(session.act(name) for name in event.names))

    def on_pointed(self, event: Pointed) -> None:
        """Put a mark where the mouse points."""
        sitting = self.sitting
        if sitting is None or isinstance(self.screen, Small):
            return
        place = [id(row) for row in self.screen.query(ScaleRow)].index(id(event.row))
        self._guarded(lambda session: sitting.point(place, event.share))

    async def action_quit(self) -> None:
        """Control-Q: ask, as the leave key does; before the sitting is open, just end."""
        self._ask_to_leave()

    def _ask_to_leave(self) -> None:
        if self._session is None or not self._session.act("leave"):
            self.exit()

    def _before_it_is_open(self, key: str) -> None:
        """The welcome is shown and the rest still loads: its keys are heard, and that is said at once."""
        pressed = next((offer.action for offer in self._first.actions if offer.key == key), None)
        if pressed is not None:
            self._wanted = pressed
            self._first = replace(self._first, hint=self._words.text("one_moment"))
            self._show(self._first)

    def _do_what_was_wanted(self, session: "Arrival | Sitting") -> None:
        """What was read while the sitting was opened need not be read again; other words must be."""
        if self._wanted is Action.LEAVE or (
            self._wanted is Action.GO_ON
            and session.stage is Stage.WELCOME
            and session.view().body == self._first.body
        ):
            session.act(self._wanted.word)

    @property
    def _session(self) -> "Arrival | Sitting | None":
        """What keys go to."""
        return self.sitting or self.arrival

    def _open(self) -> None:
        try:
            opened = self._open_station()
        except Exception as error:
            self.trouble = error
            self.call_from_thread(self.exit)
        else:
            self.call_from_thread(self._opened, opened)

    def _opened(self, arrival: "Arrival") -> None:
        self.arrival = arrival
        self._guarded(self._do_what_was_wanted)

    def _tick(self) -> None:
        self._guarded(lambda session: session.tick())

    def _guarded(self, act: "Callable[[Arrival | Sitting], object]") -> None:
        """Act, then draw; a full disk or a lost folder ends the program with its plain message."""
        if self._session is None or not self.screen_stack:  # a last tick comes while it closes
            return
        try:
            act(self._session)
        except ListeningError as error:
            self.trouble = error
            self.exit()
            return
        if self._session.is_over:
            self.exit()
        elif (view := self._session.view()) != self._drawn or self._size_changed():
            self._show(view)

    def _size_changed(self) -> bool:
        """Whether a window that was too small may be large enough now, or the other way round."""
        if isinstance(self.screen, Small):
            return self.size != self._small_at
        return small.is_too_small(self.size)

    def _show_first(self) -> None:
        """The first paint, unless the sitting was open sooner: it must not come back over a trial."""
        if self._session is None:
            self._show(self._first)

    def _show(self, view: View) -> None:
        self._drawn = view
        if small.is_too_small(self.size):
            if not isinstance(self.screen, Small):
                self.switch_screen(Small(self._words))
            self._small_at = self.size
            return
        wanted = Rating if view.dials else SCREENS.get(view.stage, Reading)
        if type(self.screen) is not wanted:
            self.switch_screen(wanted())
        if isinstance(self.screen, Sheet):
            self.screen.draw(view)
            if (rows := self.screen.least_height(view)) > self.size.height:
                self.switch_screen(Small(self._words, Size(small.LEAST.width, rows)))
                self._small_at = self.size

    def _handle_exception(self, error: Exception) -> None:
        """Our own fault: end, and tell without the local variables that Textual would print."""
        self._return_code = 1
        self.trouble = self.trouble or error
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()
