"""Before a seat is taken: who comes back goes on with a code, and nobody begins twice by a mistake."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from listening.session.keys import Slip
from listening.session.station import CODE_LONGEST, CODE_SIGNS, Seat
from listening.session.view import Action, Stage, View
from listening.session.words import Words

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

TYPE = "type:"
SIGN_KEYS = {"-": "minus", "_": "underscore"}  # what a program calls these keys


class Arrival:
    """Asks what only the listener knows; then `sitting` is there.

    Parameters
    ----------
    first : the welcome, under which the first question stands
    seat : what was asked for when the program was started
    is_known : whether somebody has begun under a code
    sit : takes a seat
    """

    stage = Stage.ARRIVAL

    def __init__(
        self,
        first: View,
        words: Words,
        *,
        seat: Seat,
        is_known: Callable[[str], bool],
        sit: Callable[[Seat], "Sitting"],
    ) -> None:
        self.words = words
        self.sitting: Sitting | None = None
        self.is_over = False
        self._first = first
        self._seat = seat
        self._is_known = is_known
        self._sit = sit
        self._typed: str | None = None
        """The code so far; None while none is asked for."""
        self._unknown = ""
        self._slip: Slip | None = None

    def actions(self) -> tuple[Action, ...]:
        """What the listener may do now."""
        if self._typed is None:
            return (self._begin_action(), self._action("have_code", "y"), self._action("leave", "escape"))
        signs = [Action(TYPE + sign, SIGN_KEYS.get(sign, sign.lower()), "", "") for sign in CODE_SIGNS]
        made = [self._action("take_code", "enter"), self._action("erase", "backspace")] if self._typed else []
        return (*made, self._action("back", "escape"), *signs)

    def view(self) -> View:
        """What may be shown now."""
        text, actions = self.words.text, self.actions()
        hint = self._slip.hint(actions, self.words) if self._slip else ""
        if self._typed is None:
            asked = text("arrival_unknown", code=self._seat.listener) if self._seat.listener else None
            status = asked or text("arrival_asked")
            return replace(self._first, stage=self.stage, status=status, hint=hint, actions=actions)
        return View(
            stage=self.stage,
            heading=text("arrival_code_heading"),
            body=(text("arrival_code_body"), text("arrival_code_forgotten")),
            status=text("arrival_typed", code=self._typed),
            notice=text("arrival_not_found", code=self._unknown) if self._unknown else "",
            hint=hint,
            actions=actions,
        )

    def act(self, name: str) -> bool:
        """Do what the action `name` stands for; False, and nothing happens, when it is not offered now."""
        if name not in {action.name for action in self.actions()}:
            return False
        self._slip = None
        if name.startswith(TYPE):
            self._typed = ((self._typed or "") + name.removeprefix(TYPE))[:CODE_LONGEST]
            self._unknown = ""
            return True
        {
            "begin": self._begin,
            "have_code": lambda: self._ask_for(""),
            "take_code": self._take,
            "erase": lambda: self._ask_for(str(self._typed)[:-1]),
            "back": self._go_back,
            "leave": self._leave,
        }[name]()
        return True

    def take_line(self, line: str) -> bool:
        """A whole code at once, as it is typed where there is no full screen."""
        if self._typed is None or not line or len(line) > CODE_LONGEST:
            return False
        if any(sign not in CODE_SIGNS for sign in line.upper()):
            return False
        self._typed = line.upper()
        return self.act("take_code")

    def type_text(self, sign: str) -> bool:
        """No comment is written here."""
        return False

    def take_number(self, typed: str) -> bool:
        """No scale here."""
        return False

    def wrong_key(self, shown: str) -> None:
        """Say that a key does nothing now, and which ones do."""
        self._slip = Slip(shown, self.actions())

    def tick(self) -> None:
        """Nothing sounds and nothing waits."""

    def _action(self, name: str, key: str) -> Action:
        key = self.words.table.get(f"letter_{name}", key)
        if name == "have_code" and self._seat.listener:
            return Action(name, key, key.upper(), self.words.text("do_other_code"))
        shown = self.words.table.get(f"key_{key}", key.upper())
        return Action(name, key, shown, self.words.text(f"do_{name}"))

    def _begin_action(self) -> Action:
        code = self._seat.listener
        label = self.words.text("do_begin_as", code=code) if code else self.words.text("do_begin")
        return Action("begin", "n", "N", label)

    def _begin(self) -> None:
        self.sitting = self._sit(self._seat)
        self.sitting.act("go_on")  # the welcome was read already

    def _ask_for(self, typed: str) -> None:
        self._typed, self._unknown = typed, ""

    def _go_back(self) -> None:
        self._typed, self._unknown = None, ""
        self._seat = replace(self._seat, listener=None)

    def _take(self) -> None:
        code = str(self._typed)
        if self._is_known(code):
            self.sitting = self._sit(replace(self._seat, listener=code))
        else:
            self._typed, self._unknown = "", code

    def _leave(self) -> None:
        self.is_over = True
