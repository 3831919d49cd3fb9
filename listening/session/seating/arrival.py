"""Before a seat is taken: who comes back goes on with a code, and nobody begins twice by a mistake."""

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from listening.session.actions import Action, named
from listening.session.seating.station import CODE_LONGEST, CODE_SIGNS, Seat
from listening.session.showing.keys import Slip
from listening.session.showing.offering import offer
from listening.session.showing.view import Offer, Stage, View
from listening.session.showing.words import Words

if TYPE_CHECKING:
    from listening.session.sitting import Sitting

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

    def actions(self) -> tuple[Offer, ...]:
        """What the listener may do now."""
        if self._typed is None:
            return (self._begin(), self._have_code(), offer(Action.LEAVE, self.words))
        signs = [Offer(Action.SIGN, SIGN_KEYS.get(s, s.lower()), "", "", s) for s in CODE_SIGNS]
        there = (Action.TAKE_CODE, Action.ERASE) if self._typed else ()
        return (*(offer(action, self.words) for action in (*there, Action.BACK)), *signs)

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
        if name not in {offer.name for offer in self.actions()}:
            return False
        self._slip = None
        word, _, sign = name.partition(":")
        match named(word):
            case Action.SIGN:
                self._ask_for(((self._typed or "") + sign)[:CODE_LONGEST])
            case Action.BEGIN:
                self._sit_down()
            case Action.HAVE_CODE:
                self._ask_for("")
            case Action.TAKE_CODE:
                self._take()
            case Action.ERASE:
                self._ask_for(str(self._typed)[:-1])
            case Action.BACK:
                self._go_back()
            case _:
                self.is_over = True
        return True

    def take_line(self, line: str) -> bool:
        """A whole code at once, as it is typed where there is no full screen."""
        if self._typed is None or not line or len(line) > CODE_LONGEST:
            return False
        if any(sign not in CODE_SIGNS for sign in line.upper()):
            return False
        self._typed = line.upper()
        return self.act(Action.TAKE_CODE.word)

    def type_text(self, sign: str) -> bool:
        """No comment is written here."""
        return False

    def paste(self, text: str) -> bool:
        """A code that came at once; Enter takes it."""
        signs = text.strip().upper()
        if self._typed is None or not signs or any(sign not in CODE_SIGNS for sign in signs):
            return False
        self._ask_for((self._typed + signs)[:CODE_LONGEST])
        return True

    def take_number(self, typed: str) -> bool:
        """No scale here."""
        return False

    def wrong_key(self, shown: str) -> None:
        """Say that a key does nothing now, and which ones do."""
        self._slip = Slip(shown, self.actions())

    def tick(self) -> None:
        """Nothing sounds and nothing waits."""

    def _have_code(self) -> Offer:
        made = offer(Action.HAVE_CODE, self.words)
        return replace(made, label=self.words.text("do_other_code")) if self._seat.listener else made

    def _begin(self) -> Offer:
        code, made = self._seat.listener, offer(Action.BEGIN, self.words)
        return replace(made, label=self.words.text("do_begin_as", code=code)) if code else made

    def _sit_down(self) -> None:
        self.sitting = self._sit(self._seat)
        self.sitting.act(Action.GO_ON.word)  # the welcome was read already

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
