"""Where a sitting stands at one moment: what is shown and what is offered follow from it and nothing else."""

from dataclasses import dataclass, field, replace
from typing import Any, Self

from listening.records.dealt.plan import Plan, PlannedAttribute, PlannedTrial
from listening.session.answering import dials, steps, tasks
from listening.session.answering.steps import Step
from listening.session.answering.turn import Turn
from listening.session.pacing import Pace
from listening.session.showing.keys import Slip
from listening.session.showing.view import Stage
from listening.session.showing.words import Words
from listening.session.sounding import programs
from listening.session.sounding.player import Program

SAID_WITHIN_S = 1.5  # `play` and `hören` take 0.7 s at the usual rate of eSpeak NG; some readers begin late


@dataclass(frozen=True)
class CheckProgress:
    """How far the hearing check is; never whether a tone sounds."""

    has_begun: bool = False
    n_done: int = 0
    n_parts: int = 0


@dataclass(frozen=True)
class Answered:
    """A trial as its answer was confirmed."""

    step: Step
    turn: Turn


@dataclass(frozen=True)
class State:
    """One moment of a sitting. Holds clip codes and wordings, never what a clip stands for."""

    plan: Plan
    slot: int
    listener: str
    words: Words
    times: Pace
    now_s: float
    """The session's clock when it was last looked at."""
    left: tuple[Step, ...] = ()
    """Steps not done yet; the first is under way."""
    aside: Stage | None = None
    """Where the listener has stepped aside to."""
    turn: Turn = field(default_factory=Turn)
    """Plays and answer of the step under way."""
    answered: Answered | None = None
    """The last trial, as long as its answer may be changed."""
    n_done: int = 0
    pace_s: tuple[float, ...] = ()
    """What the trials of this run took."""
    right_in_a_row: int = 0
    is_back: bool = False
    """Whether the listener had begun before."""
    has_declined: bool = False
    level_is_set: bool = False
    """Whether the station is calibrated, so that nobody may turn the volume."""
    n_asked: int = 0
    """Requests of the desk that were seen."""
    notice: str = ""
    slip: Slip | None = None
    """The last key that did nothing."""
    check: CheckProgress = field(default_factory=CheckProgress)
    is_waiting: bool = False
    """Whether answers stay on this computer because the server cannot be reached now."""
    code: str = ""
    """Where the chain of the answers stands, for writing down; at the goodbye."""

    def turned(self, **changes: Any) -> Self:
        """The same with another turn."""
        return replace(self, turn=replace(self.turn, **changes))

    @property
    def stage(self) -> Stage:
        """Where the listener is."""
        return self.step.stage if self.aside is None else self.aside

    @property
    def is_over(self) -> bool:
        """Nothing is left to do here."""
        return self.stage is Stage.OVER

    @property
    def is_finished(self) -> bool:
        """Every step is done, or the listener declined: no use in coming back."""
        return not self.left or self.has_declined

    @property
    def step(self) -> Step:
        """The step under way."""
        return self.left[0] if self.left else Step(Stage.OVER)

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

    @property
    def trials(self) -> tuple[PlannedTrial, ...]:
        """Every trial of the session under way."""
        return tuple(trial for trial in self._whole_slot if trial.session == self.session)

    @property
    def session(self) -> int:
        """Which of the listener's sessions this is, from 1."""
        return steps.session_under_way(self.left) if self.left else self.plan.n_sessions

    @property
    def n_before_session(self) -> int:
        """How many trials of earlier sessions count."""
        return sum(1 for t in self._whole_slot if t.session < self.session and not t.practice)

    @property
    def _whole_slot(self) -> tuple[PlannedTrial, ...]:
        return next(s.trials for s in self.plan.slots if s.slot == self.slot)

    @property
    def rest_s(self) -> float:
        """Seconds that the break must still last."""
        return max(0.0, self.turn.entered_s + self.plan.sitting.break_at_least_s - self.now_s)

    @property
    def program(self) -> Program:
        """What the play key sounds at this step.

        In the line mode every sound comes to an end, and begins when a screen reader has said the word typed.
        """
        made = programs.of_step(self.plan, self.step, self.turn)
        return replace(made, loops=False, lead_in_s=SAID_WITHIN_S) if self.words.is_lines else made

    @property
    def dial(self) -> dials.Dial:
        """The scale of the trial under way."""
        scale = dials.dial(self.attribute, self.trial)
        if scale is None:
            raise LookupError(f"{self.attribute.task} has no scale to move on")
        return scale

    @property
    def options(self) -> tuple[tasks.Option, ...]:
        """The answers of the trial under way."""
        if self.step.stage is Stage.QUESTIONNAIRE:
            return tasks.questionnaire(self.plan.sitting.questionnaire[self.step.number].answers)
        return tasks.options(self.attribute, self.words)

    @property
    def is_heard(self) -> bool:
        """Whether enough was heard to answer: all of it, or, rated one by one, the sound rated now."""
        turn, program = self.turn, self.program
        if not program.switching:
            return turn.finished >= self.plan.sitting.plays_at_least
        if len(turn.values) > 1:
            return turn.row + len(program.clips) - len(turn.values) in turn.heard
        return len(turn.heard) == len(program.clips)

    @property
    def is_complete(self) -> bool:
        """Whether the answer can be confirmed."""
        if not self.turn.values:
            return self.turn.chosen is not None
        heard = not self.program.switching or len(self.turn.heard) == len(self.program.clips)
        return heard and None not in self.turn.values
