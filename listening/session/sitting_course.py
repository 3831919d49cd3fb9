"""The course of one sitting: its state as it goes on, and what storing and sounding need."""

from dataclasses import replace
from typing import Any

from listening.records.dealt import head_code
from listening.records.dealt.plan import Plan
from listening.records.protocols.sessions import OVER
from listening.session.answering import dials, steps
from listening.session.answering.steps import Step
from listening.session.answering.turn import Turn
from listening.session.pacing import Pace
from listening.session.seating.clocks import Clocks
from listening.session.showing.view import Stage
from listening.session.showing.words import Words
from listening.session.sounding import exposure, hearing_check
from listening.session.sounding.hearing import Hearing
from listening.session.sounding.hearing_check import HearingCheck
from listening.session.state import CheckProgress, State
from listening.store import AnswerStore, SittingRow

VOIDS_BEFORE_HELP = 3  # the same trial failed so often: a person must look at the device
SOUNDS = (Stage.LEVEL, Stage.INTRODUCTION, Stage.TRAINING, Stage.TRIAL)
ASKED = "asked"  # kind of the event that the desk writes


class Course:
    """One state after another, each act's answer and events stored before the next state is there."""

    def __init__(
        self, state: State, row: SittingRow, store: AnswerStore, *, hearing: Hearing, clocks: Clocks
    ) -> None:
        self.state = state
        self.row = row
        self.store = store
        self.hearing = hearing
        self.clocks = clocks
        self.check: HearingCheck
        """At the hearing check: which tone comes when."""
        self.begin_step()

    def become(self, **changes: Any) -> None:
        """The same moment, but for these parts of the state."""
        self.state = replace(self.state, **changes)

    def look_around(self) -> None:
        """See what time it is, and what the server and the chain say."""
        now: dict[str, Any] = {"now_s": self.clocks.now_s(), "is_waiting": self.store.waiting() > 0}
        if self.state.stage is Stage.GOODBYE:
            now["code"] = self.code()
        self.become(**now)

    def code(self) -> str:
        """Where the chain of this sitting's answers stands, as a code to write down."""
        return head_code.code(self.store.head(self.row.id))

    def note(self, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        """Store an event."""
        self.store.note(self.row.id, kind, trial=trial, detail=detail)

    def note_exposure(self) -> None:
        """Store what was sent to the ears since the last time."""
        if sent := self.hearing.exposure():
            self.note(exposure.SENT, detail=exposure.detail(sent))

    def be_silent(self) -> None:
        """Stop what sounds."""
        self.become(turn=self.hearing.stop(self.state.turn))

    def void_if(self, reason: str) -> None:
        """A play that did not sound as asked, or nothing."""
        if reason:
            self.void(reason)

    def void(self, reason: str) -> None:
        """What was played and marked does not count; after some times a person must look."""
        state = self.state
        trial = state.step.trial.trial if state.step.trial else state.step.stage.value
        self.store.void(self.row.id, trial, f"{reason}; plays {state.turn.begun}")
        turn = state.turn.anew()
        self.become(turn=turn, notice=state.words.text("notice_void"))
        if turn.voids >= VOIDS_BEFORE_HELP:
            self.become(turn=replace(turn, voids=0), aside=Stage.TROUBLE)

    def begin_step(self, before: Turn | None = None) -> None:
        """A turn of its own for the step under way."""
        state = self.state
        self.hearing.stop(state.turn)
        turn = Turn(entered_s=self.clocks.now_s())
        if state.step.stage is Stage.TRIAL:
            turn = replace(turn, values=(None,) * dials.n_marks(state.attribute, state.trial))
            if state.trial.follows and before is not None:
                turn = turn.following(before)
        self.become(turn=turn)
        if state.step.stage is Stage.HEARING:
            self.check = hearing_check.of_slot(state.plan, state.slot, self.hearing, self.clocks.now_s)
            self.see_check()
        if state.step.stage in SOUNDS:
            self.hearing.prepare(self.state.program)

    def see_check(self) -> None:
        """How far the hearing check is now."""
        check = self.check
        self.become(check=CheckProgress(check.has_begun, check.n_done, check.n_parts))

    def next_step(self) -> None:
        """What comes after the step under way; after the last one the sitting is finished."""
        state = self.state
        before = state.turn if state.step.stage is Stage.TRIAL else None
        self.become(notice="", left=state.left[1:])
        if not self.state.left:
            self.store.finish(self.row.id)
        elif self.state.stage is Stage.SESSION_OVER:
            self.note(OVER, detail=str(self.state.step.number))
        self._rest_when_due()
        self.begin_step(before)

    def _rest_when_due(self) -> None:
        """Before a trial on new sounds: a break after so many minutes, or the end of this run."""
        state, now_s = self.state, self.clocks.now_s()
        trial, times = state.step.trial, state.times
        if state.step.stage is Stage.BREAK:
            self.become(times=replace(times, rested_s=now_s))
        if state.step.stage is not Stage.TRIAL or trial is None or trial.follows:
            return
        if times.is_enough(now_s):
            self.become(aside=Stage.ENOUGH)
        elif times.wants_rest(now_s):
            rest = Step(Stage.BREAK, trial=trial)
            self.become(left=(rest, *state.left), times=replace(times, rested_s=now_s))


def begun(
    plan: Plan, row: SittingRow, store: AnswerStore, *, hearing: Hearing, clocks: Clocks, words: Words
) -> Course:
    """The course of a taken seat, at the step where it stopped."""
    events, answered, now_s = store.events(row.id), store.answered(row.id), clocks.now_s()
    is_back = "agreed" in {event.kind for event in events}
    every = steps.of_slot(plan, row.slot)
    left = steps.left(every, answered=set(answered), done=steps.done(events), consented=is_back)
    state = State(
        plan=plan,
        slot=row.slot,
        listener=row.listener,
        words=words,
        times=Pace(plan.sitting, now_s, now_s, now_s),
        now_s=now_s,
        left=tuple(left),
        n_done=sum(1 for practice in answered.values() if not practice),
        is_back=is_back,
        n_asked=sum(event.kind == ASKED for event in events),
    )
    return Course(state, row, store, hearing=hearing, clocks=clocks)
