"""A blind sitting as a screen meets it: acts in, a view out; every answer is stored before the next trial."""

from contextlib import AbstractContextManager, suppress
from dataclasses import replace

from listening.errors import ListeningError
from listening.records.dealt.plan import Plan
from listening.session import sitting_course
from listening.session.actions import TYPING, Action, named
from listening.session.acts import mark_acts, ticking
from listening.session.acts.act_table import ACTS
from listening.session.answering import commenting, going_back, marking
from listening.session.seating.clocks import Clocks
from listening.session.showing import drawing, offers
from listening.session.showing.keys import Slip
from listening.session.showing.view import Offer, Stage, View
from listening.session.showing.words import Words
from listening.session.sounding.hearing import Hearing
from listening.session.sounding.player import Player
from listening.session.state import State
from listening.store import AnswerStore, SittingRow

HEARTBEAT_S = 30.0
ALWAYS = {Action.LEAVE, Action.HELP, Action.PAUSE, Action.STOP_SOUND}  # done beside a number that is no mark


class Sitting:
    """One listener's run. Holds clip codes and wordings, never what a clip stands for."""

    def __init__(
        self,
        plan: Plan,
        row: SittingRow,
        store: AnswerStore,
        *,
        player: Player,
        clocks: Clocks,
        words: Words,
        level_is_set: bool = False,
    ) -> None:
        self.plan = plan
        self.row = row
        self.hold: AbstractContextManager[object] | None = None
        """What keeps other processes from this sitting; the system drops it when the process ends."""
        self._course = sitting_course.begun(
            plan, row, store, hearing=Hearing(player), clocks=clocks, words=words
        )
        self._course.become(level_is_set=level_is_set)
        self._last_beat_s = clocks.now_s()

    @property
    def state(self) -> State:
        """Where it stands."""
        return self._course.state

    @property
    def words(self) -> Words:
        """The words of this sitting."""
        return self.state.words

    @property
    def stage(self) -> Stage:
        """Where the listener is."""
        return self.state.stage

    @property
    def is_over(self) -> bool:
        """Nothing is left to do here."""
        return self.state.is_over

    def view(self) -> View:
        """What may be shown now."""
        self._course.look_around()
        return drawing.view(self.state)

    def actions(self) -> tuple[Offer, ...]:
        """What the listener may do now."""
        return offers.offered(self.state)

    def code(self) -> str:
        """Where the chain of this sitting's answers stands, as a code to write down."""
        return self._course.code()

    # what a listener does

    def act(self, name: str) -> bool:
        """Do what a word with its argument stands for; False, and nothing happens, when it is not offered."""
        self._course.look_around()
        word, _, argument = name.partition(":")
        action = named(word)
        if action is None or not self._is_offered(name, action, argument):
            return False
        state = self.state
        self._course.become(slip=None, times=replace(state.times, touched_s=state.now_s))
        if action not in going_back.KEEP_IT:
            self._course.become(answered=None)
        if action not in TYPING and state.stage is Stage.TRIAL:
            if mark_acts.refuse_mistyped(self._course) and action not in ALWAYS:
                return True
            mark_acts.take_typed(self._course)
        ACTS[action](self._course, argument)
        return True

    def _is_offered(self, name: str, action: Action, argument: str) -> bool:
        there = self.actions()
        if name in {offer.name for offer in there}:
            return True
        may_type = any(offer.action is Action.DIGIT for offer in there)
        return action is Action.PUT and may_type and marking.is_number(self.state, argument)

    def take_line(self, line: str) -> bool:
        """A typed line that is no key: a whole comment, where one may be written."""
        return self.type_text(line) and self.act(Action.GO_ON.word)

    def type_text(self, signs: str) -> bool:
        """More signs of a comment or a number; False, and nothing happens, where nothing is written."""
        if self._goes_on_typing(signs):
            mark_acts.type_sign(self._course, signs)
            return True
        written = commenting.typed(self.state, signs)
        if written is None:
            return False
        self._course.look_around()
        self._course.become(turn=written.turn, slip=None)
        self._course.become(times=replace(self.state.times, touched_s=self.state.now_s))
        return True

    def _goes_on_typing(self, signs: str) -> bool:
        """Whether signs that are no key stand in a number: they are shown as typed, and it is refused."""
        may_type = any(offer.action is Action.DIGIT for offer in self.actions())
        begins = signs[:1] in ("-", "+") or signs[:1].isdecimal() or bool(self.state.turn.typed)
        return may_type and begins and signs.isprintable() and not self.words.is_lines

    def paste(self, text: str) -> bool:
        """A text that came at once: typed sign by sign where something is written, or a code taken whole."""
        signs = " ".join(text.split())
        if any(offer.action is Action.DIGIT for offer in self.actions()):
            for sign in signs[: marking.MOST_SIGNS]:
                mark_acts.type_sign(self._course, sign)
            return bool(signs)
        return self.type_text(signs)

    def take_number(self, typed: str) -> bool:
        """Put the mark at a whole number, or say which numbers the scale has."""
        if not self.act(f"{Action.PUT.word}:{typed}"):
            mark_acts.say_range(self._course, typed)
        return True

    def point(self, place: int, share: float) -> bool:
        """Put the mark of the scale in that place on the screen at a share of it, 0 to 1, as a mouse does."""
        self._course.look_around()
        if not mark_acts.point(self._course, place, share):
            self._course.become(slip=Slip("", self.actions(), self.words.text("hear_first")))
            return False
        self._course.become(slip=None, times=replace(self.state.times, touched_s=self.state.now_s))
        return True

    def wrong_key(self, shown: str) -> None:
        """Say that a key does nothing now, and which ones do; `shown` is its name, if it has one."""
        if mark_acts.refuse_mistyped(self._course):
            return
        state = self.state
        is_early = state.stage is Stage.TRIAL and marking.is_early(state, shown)
        reason = self.words.text("hear_first") if is_early else ""
        self._course.become(slip=Slip(shown, self.actions(), reason))

    def tick(self) -> None:
        """Look at the player and the clock; a screen calls this some twenty times a second."""
        self._course.look_around()
        ticking.follow_sound(self._course)
        ticking.follow_time(self._course)
        now_s = self.state.now_s
        if now_s - self._last_beat_s >= HEARTBEAT_S and not self.is_over:
            self._last_beat_s = now_s
            self._course.store.beat(self.row.id)
            ticking.do_what_the_desk_asks(self._course)

    # the end of a process

    def stop(self) -> None:
        """Fall silent and note that the sitting was left; for signals and closed windows."""
        self._course.be_silent()
        if not (self.state.is_over or self.state.is_finished):
            self._course.note_exposure()
            self._course.note("left")

    def close(self) -> int:
        """Let the seat go and close the store; how many answers still wait here for a server."""
        store = self._course.store
        with suppress(ListeningError):  # a lease runs out by itself when the server is away
            if self.hold is not None:
                self.hold.__exit__(None, None, None)
        store.close()
        return store.waiting()
