"""The state machine of a blind sitting: acts in, a view out; every answer is stored before the next trial."""

from contextlib import AbstractContextManager, suppress
from dataclasses import replace

from listening.errors import ListeningError
from listening.records import head_code
from listening.records.plan import Plan, PlannedAttribute, PlannedTrial
from listening.records.sessions import OVER
from listening.session import (
    answers,
    dials,
    drawing,
    exposure,
    hearing_check,
    marking,
    offers,
    pacing,
    programs,
    steps,
    tasks,
)
from listening.session.clocks import Clocks
from listening.session.hearing import WHOLE, Hearing
from listening.session.hearing_check import HearingCheck
from listening.session.keys import Slip
from listening.session.player import Player, Program
from listening.session.steps import Step
from listening.session.turn import Turn
from listening.session.view import Action, Stage, View
from listening.session.words import Words
from listening.store import AnswerStore, SittingRow

VOIDS_BEFORE_HELP = 3  # the same trial failed so often: a person must look at the device
HEARTBEAT_S = 30.0
CHOOSE = "choose:"
ASKED, ASKED_END = "asked", "end"  # of an event that the desk writes: to `pause` or to `end`
MAY_BE_IDLE = (Stage.LEVEL, Stage.INTRODUCTION, Stage.TRIAL)
MAY_BE_ASKED = (*MAY_BE_IDLE, Stage.QUESTIONNAIRE, Stage.STUCK, Stage.BREAK)


class Sitting:
    """One listener's run. Holds clip codes and wordings, never what a clip stands for."""

    def __init__(
        self, plan: Plan, row: SittingRow, store: AnswerStore, *, player: Player, clocks: Clocks, words: Words
    ) -> None:
        self.plan = plan
        self.row = row
        self.words = words
        self.hearing = Hearing(player)
        self.pace: list[float] = []
        """Seconds that the trials of this run took."""
        self._store = store
        self._clocks = clocks
        self.n_done = 0
        self.is_back = False
        self._left = self._remaining()
        self._aside: Stage | None = None
        self._right_in_a_row = 0
        self._last_beat_s = clocks.now_s()
        self.notice = ""
        self._slip: Slip | None = None
        self._has_declined = False
        now_s = clocks.now_s()
        self._times = pacing.Pace(plan.sitting, now_s, now_s, now_s)
        self._n_asked = len(self._asked())
        self.level_is_set = False
        """Whether the station is calibrated, so that nobody may turn the volume."""
        self.hold: AbstractContextManager[object] | None = None
        """What keeps other processes from this sitting; the system drops it when the process ends."""
        self.check: HearingCheck
        """At the hearing check: which tone comes when."""
        self._begin_step()

    # what a screen asks

    @property
    def stage(self) -> Stage:
        """Where the listener is."""
        if self._aside is not None:
            return self._aside
        return self._left[0].stage if self._left else Stage.OVER

    @property
    def is_over(self) -> bool:
        """Nothing is left to do here."""
        return self.stage is Stage.OVER

    @property
    def is_finished(self) -> bool:
        """Every step is done, or the listener declined: no use in coming back."""
        return not self._left or self._has_declined

    @property
    def turn(self) -> Turn:
        """Plays and answer of the step under way."""
        return self.hearing.turn

    @property
    def step(self) -> Step:
        """The step under way."""
        return self._left[0] if self._left else Step(Stage.OVER)

    @property
    def session(self) -> int:
        """Which of the listener's sessions this is, from 1."""
        return steps.session_under_way(self._left) if self._left else self.plan.n_sessions

    @property
    def trial(self) -> PlannedTrial:
        """The trial under way."""
        if self.step.trial is None:
            raise LookupError(f"no trial at stage {self.stage.value}")
        return self.step.trial

    @property
    def attribute(self) -> PlannedAttribute:
        """What is asked now."""
        return self.plan.attribute(self.step.attribute)

    def view(self) -> View:
        """What may be shown now."""
        return drawing.view(self)

    def actions(self) -> tuple[Action, ...]:
        """What the listener may do now."""
        return offers.actions(self)

    def take_line(self, line: str) -> bool:
        """A typed line that is no key: nothing in a sitting takes one."""
        return False

    def wrong_key(self, shown: str) -> None:
        """Say that a key does nothing now, and which ones do; `shown` is its name, if it has one."""
        is_early = self.stage is Stage.TRIAL and shown in {o.shown for o in self.options()}
        self._slip = Slip(shown, self.actions(), self.words.text("hear_first") if is_early else "")

    def _type(self, digit: str) -> None:
        if not marking.type_digit(self, digit):
            self._refuse_number(self.turn.typed + digit)

    def take_number(self, typed: str) -> bool:
        """Put the mark at a whole number, or say which numbers the scale has."""
        if not self.act(f"put:{typed}"):
            self._refuse_number(typed)
        return True

    def _refuse_number(self, typed: str) -> None:
        dial = self.dial()
        point = self.words.text("decimal_point")
        low, high, step = (
            text.replace(dials.POINT, point)
            for text in (dial.text(dial.low), dial.text(dial.high), f"{dial.step:g}")
        )
        told = self.words.text("number_outside", typed=typed, low=low, high=high, step=step)
        self._slip = Slip(typed, self.actions(), told)

    def hint(self) -> str:
        """That a key did nothing, as long as that is still so."""
        return self._slip.hint(self.actions(), self.words) if self._slip else ""

    def code(self) -> str:
        """Where the chain of this sitting's answers stands, as a code to write down."""
        return head_code.code(self._store.head(self.row.id))

    def is_waiting(self) -> bool:
        """Whether answers stay on this computer because the server cannot be reached now."""
        return self._store.waiting() > 0

    def now_s(self) -> float:
        """Seconds on the session's clock."""
        return self._clocks.now_s()

    def rest_s(self) -> float:
        """Seconds that the break must still last."""
        over_s = self.turn.entered_s + self.plan.sitting.break_at_least_s
        return max(0.0, over_s - self._clocks.now_s())

    # what a listener does

    def act(self, name: str) -> bool:
        """Do what the action `name` stands for; False, and nothing happens, when it is not offered now."""
        offered = {action.name for action in self.actions()}
        if name not in offered and not (marking.is_number(self, name) and "digit:0" in offered):
            return False
        self._slip = None
        self._times.touched_s = self._clocks.now_s()
        if not name.startswith(("digit:", "erase")):
            marking.take_typed(self)
        if name.startswith(CHOOSE):
            marking.choose(self, name.removeprefix(CHOOSE))
        else:
            word, _, number = name.partition(":")
            {
                "go_on": self._go_on,
                "agree": self._go_on,
                "decline": self._think_about_declining,
                "decline_now": self._decline,
                "reconsider": self._come_back,
                "play": self._play,
                "hear": lambda: self._hear(int(number)),
                "stop_sound": self.hearing.stop,
                "level_right": self._go_on,
                "understood": self._go_on,
                "not_sure": self._not_sure,
                "rather_not": lambda: self._tell("rather not say"),
                "tell": lambda: self._tell(self.options()[int(str(self.turn.chosen))].label),
                "begin_check": lambda: self.check.begin(),
                "hear_tone": lambda: self.check.press(),
                "skip_check": lambda: self._end_check(hearing_check.SKIPPED),
                "once_more": self._rehearse_again,
                "confirm": self._confirm,
                "mark_up": lambda: marking.move(self, -1),
                "mark_down": lambda: marking.move(self, 1),
                "row_up": lambda: marking.move_row(self, -1),
                "row_down": lambda: marking.move_row(self, 1),
                "less": lambda: marking.turn_dial(self, -1),
                "more": lambda: marking.turn_dial(self, 1),
                "less_by_ten": lambda: marking.turn_dial(self, -10),
                "more_by_ten": lambda: marking.turn_dial(self, 10),
                "put": lambda: marking.put_dial(self, float(number)),
                "digit": lambda: self._type(number),
                "erase": lambda: marking.erase(self),
                "take_number": lambda: None,  # taken above, as by every other key
                "sort_rows": lambda: marking.sort_rows(self),
                "part_from": lambda: self._keep_to_part(start=self.turn.share),
                "part_to": lambda: self._keep_to_part(stop=self.turn.share),
                "part_whole": lambda: self.hearing.part(*WHOLE),
                "help": self._call_for_help,
                "pause": self._pause,
                "leave": self._leave,
                "stay": self._come_back,
                "try_again": self._come_back,
                "leave_now": self._leave_now,
                "end": self._end,
            }[word]()
        return True

    def tick(self) -> None:
        """Look at the player and the clock; a screen calls this some twenty times a second."""
        if self.stage is Stage.HEARING:
            self._tick_check()
        elif self.turn.running:
            self._void_if(self.hearing.look(self.program()))
        now_s = self._clocks.now_s()
        self._tick_times(now_s)
        if now_s - self._last_beat_s >= HEARTBEAT_S and not self.is_over:
            self._last_beat_s = now_s
            self._store.beat(self.row.id)
            self._do_what_the_desk_asks()

    def _tick_times(self, now_s: float) -> None:
        """What time alone brings: a loop's end, a reminder, a pause because nobody is there."""
        turn, is_trial = self.turn, self.stage is Stage.TRIAL
        if is_trial and turn.running and self.program().loops and self._times.is_long_loop(turn, now_s):
            self.hearing.stop()
            self.notice = self.words.text("notice_loop_over")
        waits = is_trial and not turn.running and offers.is_heard(self)
        turn.waits_s = (now_s if turn.waits_s is None else turn.waits_s) if waits else None
        if not turn.is_late and self._times.is_late(turn, now_s):
            turn.is_late = True
            self.notice = self.words.text("notice_late")
            self._note("late", trial=self.trial.trial)
        if self.stage in MAY_BE_IDLE and self._times.is_idle(now_s):
            self._pause("idle")
            self.notice = self.words.text("notice_idle")

    def _asked(self) -> list[str]:
        """What the desk has asked of this sitting so far."""
        return [event.detail for event in self._store.events(self.row.id) if event.kind == ASKED]

    def _do_what_the_desk_asks(self) -> None:
        """Pause or end where the person in charge wants it; each request counts once."""
        asked = self._asked()
        new, self._n_asked = asked[self._n_asked :], len(asked)
        if not new or self._aside is not None or self.stage not in MAY_BE_ASKED:
            return
        if new[-1] == ASKED_END:
            self.hearing.stop()
            self._aside = Stage.LEAVING
            self._leave_now()
        else:
            self._pause("asked")
            self.notice = self.words.text("notice_asked_pause")

    def _call_for_help(self) -> None:
        self._note("help", trial=self.step.trial.trial if self.step.trial else None)
        self.notice = self.words.text("notice_help")

    def stop(self) -> None:
        """Fall silent and note that the sitting was left; for signals and closed windows."""
        self.hearing.stop()
        if not (self.is_over or self.is_finished):
            self._note_exposure()
            self._note("left")

    def close(self) -> int:
        """Let the seat go and close the store; how many answers still wait here for a server."""
        with suppress(ListeningError):  # a lease runs out by itself when the server is away
            if self.hold is not None:
                self.hold.__exit__(None, None, None)
        self._store.close()
        return self._store.waiting()

    # steps

    def _remaining(self) -> list[Step]:
        events, answered = self._store.events(self.row.id), self._store.answered(self.row.id)
        self.n_done = sum(1 for practice in answered.values() if not practice)
        self.is_back = "agreed" in {event.kind for event in events}
        every = steps.of_slot(self.plan, self.row.slot)
        return steps.left(every, answered=set(answered), done=steps.done(events), consented=self.is_back)

    def _begin_step(self, before: Turn | None = None) -> None:
        turn = Turn(entered_s=self._clocks.now_s())
        if self.step.stage is Stage.TRIAL:
            turn.values = [None] * dials.n_marks(self.attribute, self.trial)
            if self.trial.follows and before is not None:
                turn.go_on_from(before)
        self.hearing.begin(turn)
        if self.step.stage is Stage.HEARING:
            self.check = hearing_check.of_slot(self.plan, self.row.slot, self.hearing, self._clocks.now_s)

    def _next(self) -> None:
        self.notice = ""
        before = self.turn if self.step.stage is Stage.TRIAL else None
        self._left.pop(0)
        if not self._left:
            self._store.finish(self.row.id)
        elif self.step.stage is Stage.SESSION_OVER:
            self._note(OVER, detail=str(self.step.number))
        self._rest_when_due()
        self._begin_step(before)

    def _rest_when_due(self) -> None:
        """Before a trial on new sounds: a break after so many minutes, or the end of this run."""
        trial, now_s = self.step.trial, self._clocks.now_s()
        if self.step.stage is Stage.BREAK:
            self._times.rested_s = now_s
        if self.step.stage is not Stage.TRIAL or trial is None or trial.follows:
            return
        if self._times.is_enough(now_s):
            self._aside = Stage.ENOUGH
        elif self._times.wants_rest(now_s):
            self._left.insert(0, Step(Stage.BREAK, trial=trial))
            self._times.rested_s = now_s

    def _go_on(self) -> None:
        if self._aside is Stage.PAUSE:
            return self._come_back()
        self.hearing.stop()
        step = self.step
        if step.stage is Stage.CONSENT:
            self._note("agreed")
        elif step.stage is Stage.LEVEL:
            self._note_exposure()
            self._note("level set", detail=f"plays {self.turn.begun}")
        elif step.stage is Stage.INTRODUCTION:
            name = steps.introduced(step.attribute, step.number)
            self._note("introduced", detail=f"{name}|understood|plays {self.turn.begun}")
        elif step.stage is Stage.BREAK:
            self._times.rested_s = self._clocks.now_s()
            self._note("rested", trial=self.trial.trial)
        elif step.stage is Stage.STUCK:
            self._right_in_a_row = 0
            self._note("rehearsed", detail=f"{step.attribute}|went on without")
        return self._next()

    def _not_sure(self) -> None:
        self.hearing.stop()
        name = steps.introduced(self.step.attribute, self.step.number)
        self._note("introduced", detail=f"{name}|not sure|plays {self.turn.begun}")
        self._next()

    def _tick_check(self) -> None:
        if trouble := self.check.tick():
            self._void(trouble)
            self.check.begin()  # the same tone again
        if self.check.is_over:
            self._end_check(self.check.result())

    def _end_check(self, result: str) -> None:
        self.hearing.stop()
        self._note_exposure()
        self._note(hearing_check.NOTED, detail=result)
        self._next()

    def _tell(self, answer: str) -> None:
        self._note("told", detail=f"{self.step.number}|{answer}")
        self._next()

    def _rehearse_again(self) -> None:
        step = self.step
        self._right_in_a_row = 0
        again = steps.rehearsal(self.plan, self.row.slot, step.attribute, round_number=step.number + 1)
        self._left[1:1] = again
        self._next()

    def _discriminated(self, chosen: str | None) -> None:
        """Count right answers in a row about the pair of examples; enough of them end the rehearsal."""
        is_right = self.trial.clips[0 if chosen == "first" else 1] == self.attribute.example_more
        self._right_in_a_row = self._right_in_a_row + 1 if is_right else 0
        if self._right_in_a_row >= self.plan.sitting.practice_until_right:
            self._right_in_a_row = 0
            name = self.step.attribute
            self._note("rehearsed", detail=f"{name}|told apart")
            self._left[1:] = [s for s in self._left[1:] if not (s.rehearsal and s.attribute == name)]

    def _think_about_declining(self) -> None:
        self._aside = Stage.DECLINING

    def _decline(self) -> None:
        self._note("declined")
        self._has_declined = True
        self._aside = Stage.FAREWELL

    def _end(self) -> None:
        if self._aside is Stage.FAREWELL:
            self._aside = Stage.OVER
        elif self.stage in (Stage.ENOUGH, Stage.SESSION_OVER):
            self._leave_now()
        else:
            self._next()

    # sound

    def program(self) -> Program:
        """What the play key sounds at this step; in the line mode every sound comes to an end."""
        made = programs.of_step(self.plan, self.step, self.turn)
        return replace(made, loops=False) if self.words.is_lines else made

    def _play(self, start: int | None = None) -> None:
        """Start the programme; one that switches goes on with the sound that was heard last."""
        self.notice = ""
        if start is None:
            start = self.hearing.last if self.turn.heard and self.program().switching else 0
        self.turn.began_s = self._clocks.now_s()
        self._void_if(self.hearing.play(replace(self.program(), start=start)))

    def _keep_to_part(self, *, start: float | None = None, stop: float | None = None) -> None:
        """Loop from here, or to here; where the other end lies on the wrong side, it gives way."""
        first, last = self.turn.part
        if start is not None:
            first, last = start, last if last > start else WHOLE[1]
        if stop is not None:
            first, last = first if first < stop else WHOLE[0], stop
        self.hearing.part(first, last)

    def _hear(self, sound: int) -> None:
        """Let one of the sounds be heard; a rated one is also the one that the scale keys move."""
        if self.turn.running:
            self._switch(sound)
        else:
            self._play(sound)
        row = sound - (len(self.program().clips) - len(self.turn.values))
        if 0 <= row < len(self.turn.values) and len(self.turn.values) > 1:
            self.turn.row = row

    def _switch(self, sound: int) -> None:
        """To another sound; to its start where the protocol says so. The sound that is heard starts again."""
        is_again = sound == self.turn.clip or self.attribute.switching_to == "start"
        if is_again and not self.program().loops:
            self.hearing.stop()
            return self._play(sound)
        self.hearing.switch(sound)
        if is_again:
            self.hearing.again()
        return None

    def _void_if(self, reason: str) -> None:
        if reason:
            self._void(reason)

    def _void(self, reason: str) -> None:
        trial = self.step.trial.trial if self.step.trial else self.step.stage.value
        self._store.void(self.row.id, trial, f"{reason}; plays {self.turn.begun}")
        self.turn.restart()
        self.notice = self.words.text("notice_void")
        if self.turn.voids >= VOIDS_BEFORE_HELP:
            self.turn.voids = 0
            self._aside = Stage.TROUBLE

    # answers

    def _confirm(self) -> None:
        self.hearing.stop()
        given = answers.given(self.row, self.trial, self.attribute.task, self.turn, utc=self._clocks.utc())
        self._store.record(given)  # on disk before the next trial is drawn
        self._note_exposure()
        if self.step.rehearsal:
            self._discriminated(self.turn.chosen)
        if not self.trial.practice:
            self.n_done += 1
            self.pace.append(self._clocks.now_s() - self.turn.entered_s)
        self._next()

    def _note_exposure(self) -> None:
        if sent := self.hearing.exposure():
            self._note(exposure.SENT, detail=exposure.detail(sent))

    def dial(self) -> dials.Dial:
        """The scale of the trial under way."""
        scale = dials.dial(self.attribute, self.trial)
        if scale is None:
            raise LookupError(f"{self.attribute.task} has no scale to move on")
        return scale

    def options(self) -> tuple[tasks.Option, ...]:
        """The answers of the trial under way."""
        if self.step.stage is Stage.QUESTIONNAIRE:
            return tasks.questionnaire(self.plan.sitting.questionnaire[self.step.number].answers)
        return tasks.options(self.attribute, self.words)

    # stepping aside

    def _pause(self, why: str = "") -> None:
        self.hearing.stop()
        self._aside = Stage.PAUSE
        self._note("paused", detail=why)

    def _leave(self) -> None:
        self.hearing.stop()
        self._aside = Stage.LEAVING

    def _come_back(self) -> None:
        if self._aside is Stage.PAUSE:
            self.notice = ""
        self._aside = None
        if self.step.stage is Stage.HEARING and self.check.has_begun:
            self.check.begin()

    def _leave_now(self) -> None:
        self._note_exposure()
        self._note("left")
        self._aside = Stage.OVER

    def _note(self, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        self._store.note(self.row.id, kind, trial=trial, detail=detail)
