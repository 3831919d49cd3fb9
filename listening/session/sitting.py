"""The state machine of a blind sitting: acts in, a view out; every answer is stored before the next trial."""

from collections.abc import Callable
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass

from listening.errors import ListeningError
from listening.records.answer import Answer
from listening.records.plan import Plan, PlannedAttribute, PlannedTrial
from listening.session import drawing, offers, steps, tasks
from listening.session.player import Player, Program, Sounding
from listening.session.steps import Step
from listening.session.turn import Turn
from listening.session.view import Action, Stage, View
from listening.session.words import Words
from listening.store import AnswerStore, SittingRow

VOIDS_BEFORE_HELP = 3  # the same trial failed so often: a person must look at the device
HEARTBEAT_S = 30.0
CHOOSE = "choose:"


@dataclass(frozen=True)
class Clocks:
    """Where time comes from."""

    now_s: Callable[[], float]
    """Monotonic seconds; the player's onsets are on it."""
    utc: Callable[[], str]
    """Wall clock, ISO 8601."""


class Sitting:
    """One listener's run. Holds clip codes and wordings, never what a clip stands for."""

    def __init__(
        self, plan: Plan, row: SittingRow, store: AnswerStore, *, player: Player, clocks: Clocks, words: Words
    ) -> None:
        self.plan = plan
        self.row = row
        self.words = words
        self.turn = Turn()
        self.pace: list[float] = []
        """Seconds that the trials of this run took."""
        self._store = store
        self._player = player
        self._clocks = clocks
        self.n_done = 0
        self.is_back = False
        self._left = self._remaining()
        self._aside: Stage | None = None
        self._last_beat_s = clocks.now_s()
        self.notice = ""
        self.hold: AbstractContextManager[object] | None = None
        """What keeps other processes from this sitting; the system drops it when the process ends."""
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
        return not self._left

    @property
    def step(self) -> Step:
        """The step under way."""
        return self._left[0] if self._left else Step(Stage.OVER)

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

    def is_waiting(self) -> bool:
        """Whether answers stay on this computer because the server cannot be reached now."""
        return self._store.waiting() > 0

    def rest_s(self) -> float:
        """Seconds that the break must still last."""
        over_s = self.turn.entered_s + self.plan.sitting.break_at_least_s
        return max(0.0, over_s - self._clocks.now_s())

    # what a listener does

    def act(self, name: str) -> bool:
        """Do what the action `name` stands for; False, and nothing happens, when it is not offered now."""
        if name not in {action.name for action in self.actions()}:
            return False
        if name.startswith(CHOOSE):
            self._choose(name.removeprefix(CHOOSE))
        else:
            {
                "go_on": self._go_on,
                "agree": self._go_on,
                "decline": self._decline,
                "play": self._play,
                "stop_sound": self._fall_silent,
                "level_right": self._go_on,
                "understood": self._go_on,
                "not_sure": self._not_sure,
                "confirm": self._confirm,
                "mark_up": lambda: self._move_mark(-1),
                "mark_down": lambda: self._move_mark(1),
                "pause": self._pause,
                "leave": self._leave,
                "stay": self._come_back,
                "try_again": self._come_back,
                "leave_now": self._leave_now,
                "end": self._go_on,
            }[name]()
        return True

    def tick(self) -> None:
        """Look at the player and the clock; a screen calls this some twenty times a second."""
        if self.turn.running:
            self._follow(self._player.sounding())
        now_s = self._clocks.now_s()
        if now_s - self._last_beat_s >= HEARTBEAT_S and not self.is_over:
            self._last_beat_s = now_s
            self._store.beat(self.row.id)

    def stop(self) -> None:
        """Fall silent and note that the sitting was left; for signals and closed windows."""
        self._player.stop()
        if not self.is_over:
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
        return steps.left(
            steps.of_slot(self.plan, self.row.slot),
            answered=set(answered),
            introduced={e.detail.split("|")[0] for e in events if e.kind == "introduced"},
            rested={e.trial for e in events if e.kind == "rested" and e.trial},
            consented=self.is_back,
        )

    def _begin_step(self) -> None:
        self.turn = Turn(entered_s=self._clocks.now_s())

    def _next(self) -> None:
        self.notice = ""
        self._left.pop(0)
        if not self._left:
            self._store.finish(self.row.id)
            self._note("finished")
        self._begin_step()

    def _go_on(self) -> None:
        if self._aside is Stage.PAUSE:
            return self._come_back()
        self._fall_silent()
        step = self.step
        if step.stage is Stage.CONSENT:
            self._note("agreed")
        elif step.stage is Stage.LEVEL:
            self._note("level set", detail=f"plays {self.turn.begun}")
        elif step.stage is Stage.INTRODUCTION:
            self._note("introduced", detail=f"{step.attribute}|understood|plays {self.turn.begun}")
        elif step.stage is Stage.BREAK:
            self._note("rested", trial=self.trial.trial)
        return self._next()

    def _not_sure(self) -> None:
        self._fall_silent()
        self._note("introduced", detail=f"{self.step.attribute}|not sure|plays {self.turn.begun}")
        self._next()

    def _decline(self) -> None:
        self._note("declined")
        self._left.clear()

    # sound

    def program(self) -> Program:
        """What the play key sounds at this step."""
        if self.step.stage is Stage.LEVEL:
            return Program((self.plan.level_check_clip,))
        gap_s = self.plan.sitting.gap_s
        if self.step.stage is Stage.INTRODUCTION:
            more, less = self.attribute.anchor_more, self.attribute.anchor_less
            return Program(tuple(clip for clip in (more, less) if clip), gap_s)
        return Program(self.trial.clips, gap_s)

    def _play(self) -> None:
        self.notice = ""
        self.turn.begun += 1
        self.turn.running = True
        try:
            self._player.start(self.program())
        except ListeningError as error:
            self.turn.running = False
            self._void(str(error))
        else:
            self._follow(self._player.sounding())

    def _fall_silent(self) -> None:
        if self.turn.running:
            self._player.stop()
            self.turn.running, self.turn.clip = False, None

    def _follow(self, sounding: Sounding) -> None:
        turn = self.turn
        if turn.onset_s is None:
            turn.onset_s = sounding.onset_s
        turn.clip = sounding.clip
        if sounding.clip is not None:
            turn.heard = max(turn.heard, sounding.clip + 1)
        if sounding.running:
            return
        turn.running, turn.clip = False, None
        missing = sounding.frames_asked - sounding.frames_played
        if sounding.trouble or missing:
            self._void(sounding.trouble or f"{missing} of {sounding.frames_asked} frames not played")
        else:
            turn.finished += 1
            turn.heard = len(self.program().clips)

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
        self._fall_silent()
        self._store.record(self._answer())  # on disk before the next trial is drawn
        if not self.trial.practice:
            self.n_done += 1
            self.pace.append(self._clocks.now_s() - self.turn.entered_s)
        self._next()

    def _choose(self, value: str) -> None:
        self.turn.chosen, self.turn.chosen_s = value, self._clocks.now_s()

    def _move_mark(self, by: int) -> None:
        values = [option.value for option in self.options()]
        if self.turn.chosen is None:
            self._choose(values[0 if by > 0 else -1])
        else:
            at = values.index(self.turn.chosen) + by
            self._choose(values[min(max(at, 0), len(values) - 1)])

    def _answer(self) -> Answer:
        if self.turn.chosen is None or self.turn.onset_s is None:
            raise LookupError("an answer was confirmed that nobody gave")
        return Answer(
            sitting=self.row.id,
            listener=self.row.listener,
            slot=self.row.slot,
            trial=self.trial.trial,
            attribute=self.attribute.name,
            task=self.attribute.task,
            clips=self.trial.clips,
            answer=self.turn.chosen,
            response_s=self.turn.chosen_s - self.turn.onset_s,
            plays=self.turn.begun,
            practice=self.trial.practice,
            simulated=self.row.simulated,
            answered_at=self._clocks.utc(),
        )

    def options(self) -> tuple[tasks.Option, ...]:
        """The answers of the trial under way."""
        return tasks.options(self.attribute, self.words)

    # stepping aside

    def _pause(self) -> None:
        self._fall_silent()
        self._aside = Stage.PAUSE
        self._note("paused")

    def _leave(self) -> None:
        self._fall_silent()
        self._aside = Stage.LEAVING

    def _come_back(self) -> None:
        self._aside = None

    def _leave_now(self) -> None:
        self._note("left")
        self._aside = Stage.OVER

    def _note(self, kind: str, *, trial: str | None = None, detail: str = "") -> None:
        self._store.note(self.row.id, kind, trial=trial, detail=detail)
