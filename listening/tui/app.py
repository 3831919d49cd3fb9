"""The full-screen program: one clock, one place where keys become acts, one place where views are drawn."""

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar

from textual import events
from textual.app import App
from textual.binding import BindingType

from listening.errors import ListeningError
from listening.session.view import Stage, View
from listening.tui.screens.introduction import Introduction
from listening.tui.screens.level import Level
from listening.tui.screens.rating import Rating
from listening.tui.screens.reading import Reading
from listening.tui.screens.sheet import Sheet
from listening.tui.screens.trial import Trial

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

TICK_S = 0.04
SCREENS = {
    Stage.QUESTIONNAIRE: Trial,
    Stage.LEVEL: Level,
    Stage.INTRODUCTION: Introduction,
    Stage.TRIAL: Trial,
}


class StationApp(App[None]):
    """Shows `first` at once, opens the sitting behind it, then follows the session."""

    CSS_PATH = "station.tcss"
    ENABLE_COMMAND_PALETTE = False
    BINDINGS: ClassVar[list[BindingType]] = []

    def __init__(self, first: View, open_sitting: "Callable[[], Sitting]") -> None:
        super().__init__(ansi_color=True)
        self.sitting: Sitting | None = None
        self.trouble: Exception | None = None
        """Why it ended, when it did not end by the listener's will."""
        self.ended_by = 0
        """The signal that ended it, if one did."""
        self._first = first
        self._open_sitting = open_sitting
        self._drawn: View | None = None

    def on_mount(self) -> None:
        """First paint, then the work."""
        self.push_screen(Reading())
        self.call_after_refresh(self._show, self._first)
        self.run_worker(self._open, thread=True, exit_on_error=False)
        self.set_interval(TICK_S, self._tick)

    def on_key(self, event: events.Key) -> None:
        """Do what the key stands for now."""
        event.prevent_default()
        if event.key == "ctrl+c":
            self._ask_to_leave()
        if self.sitting is None:
            return
        act = next((a.name for a in self.sitting.actions() if a.key == event.key), None)
        if act is not None:
            self._guarded(lambda sitting: sitting.act(act))
        elif isinstance(self.screen, Sheet) and event.key in ("up", "down"):
            self.screen.scroll(1 if event.key == "down" else -1)

    async def action_quit(self) -> None:
        """Control-Q: ask, as the leave key does; before the sitting is open, just end."""
        self._ask_to_leave()

    def _ask_to_leave(self) -> None:
        if self.sitting is None or not self.sitting.act("leave"):
            self.exit()

    def _open(self) -> None:
        try:
            self.sitting = self._open_sitting()
        except Exception as error:
            self.trouble = error
            self.call_from_thread(self.exit)

    def _tick(self) -> None:
        self._guarded(lambda sitting: sitting.tick())

    def _guarded(self, act: "Callable[[Sitting], object]") -> None:
        """Act, then draw; a full disk or a lost folder ends the program with its plain message."""
        if self.sitting is None:
            return
        try:
            act(self.sitting)
        except ListeningError as error:
            self.trouble = error
            self.exit()
            return
        if self.sitting.is_over:
            self.exit()
        elif (view := self.sitting.view()) != self._drawn:
            self._show(view)

    def _show(self, view: View) -> None:
        wanted = Rating if view.dials else SCREENS.get(view.stage, Reading)
        if type(self.screen) is not wanted:
            self.switch_screen(wanted())
        self._drawn = view
        if isinstance(self.screen, Sheet):
            self.screen.draw(view)

    def _handle_exception(self, error: Exception) -> None:
        """Our own fault: end, and tell without the local variables that Textual would print."""
        self._return_code = 1
        self.trouble = self.trouble or error
        if self._exception is None:
            self._exception = error
            self._exception_event.set()
        self._close_messages_no_wait()
