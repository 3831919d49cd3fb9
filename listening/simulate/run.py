"""Simulated listeners sit the real test: session, store and plan as for people, without screen or sound."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache

from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.records.keys import key_sealing
from listening.records.kinds import tasks as task_list
from listening.records.protocols.sessions import MISSED
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study
from listening.session.seating import station
from listening.session.seating.clocks import Clocks
from listening.session.seating.station import Seat
from listening.session.showing.view import Stage
from listening.session.sitting import Sitting
from listening.session.sounding.clip_reading import Clips
from listening.session.sounding.player import SilentPlayer
from listening.simulate import panel, percepts
from listening.simulate.listener import Truth
from listening.simulate.panel import Decision

REHEARSED = Decision("first", panel.QUICKEST_S)  # a simulated listener takes the pair of examples as it comes
ACT_AT = {
    Stage.WELCOME: "go_on",
    Stage.CONSENT: "agree",
    Stage.STUCK: "go_on",
    Stage.HEARING: "skip_check",
    Stage.FEEDBACK: "go_on",
    Stage.COMMENT: "go_on",
    Stage.BREAK: "go_on",
    Stage.PAUSE: "go_on",
    Stage.GOODBYE: "end",
    Stage.SESSION_OVER: "end",
}


@dataclass
class Clock:
    """Time that the simulated listener spends; nobody waits for it."""

    s: float = 0.0

    def now_s(self) -> float:
        return self.s

    def utc(self) -> str:
        return panel.ANSWERED_AT


def run(
    study: Study,
    *,
    n_listeners: int | None = None,
    seed: int = 0,
    truth: Truth | None = None,
    missing_last: int = 0,
    stage: int = 1,
    first: int = 0,
    on_progress: Callable[[int, int], None] | None = None,
) -> int:
    """Let simulated listeners sit the first slots of a dealt study; returns how many answers were stored.

    The store is opened without syncing each answer: a simulated panel can be run again. Its answers are
    marked simulated.

    Parameters
    ----------
    stage : whose slots they sit
    first : at which of them they begin
    missing_last : so many of them, the last ones, do not come to their last session, and are marked so

    Raises
    ------
    StudyError
        The study has fewer slots, or simulated listeners sat already.
    """
    leave = station.stay(study)
    try:
        return _run(
            study,
            n_listeners,
            seed=seed,
            truth=truth or Truth(),
            missing_last=missing_last,
            stage=stage,
            first=first,
            on_progress=on_progress,
        )
    finally:
        leave()


def _run(
    study: Study,
    n_listeners: int | None,
    *,
    seed: int,
    truth: Truth,
    missing_last: int,
    stage: int,
    first: int,
    on_progress: Callable[[int, int], None] | None,
) -> int:
    plan, manifest = Plan.load(study.plan), Manifest.load(study.manifest)
    heard = percepts.of_study(key_sealing.load(study), manifest)
    if stage not in plan.planned_of_each:
        there = ", ".join(map(str, plan.planned_of_each))
        raise StudyError(f"{study.plan}: stage {stage} was not dealt, wanted one of {there}")
    slots = plan.of_stage(stage)[first:]
    wanted = max(0, plan.planned_of_each[stage] - first) if n_listeners is None else n_listeners
    if wanted > len(slots):
        raise StudyError(
            f"{study.plan}: dealt for {len(slots)} listeners, {wanted} wanted; raise panel.listeners in "
            "the protocol and deal again"
        )
    if missing_last and plan.n_sessions < 2:
        raise StudyError(f"{study.plan}: dealt for one session, so nobody can miss the last of several")
    clips = Clips(study.clips, plan.rate_hz)
    clock = Clock()
    store = station.open_answers(study, durable=False, now=clock.utc)
    player = SilentPlayer(cache(clips.frames), plan.rate_hz, clock.now_s)
    for number, slot in enumerate(slots[:wanted]):
        decided = panel.decisions(plan, heard, slot=slot, seed=seed, truth=truth)
        misses = number >= wanted - missing_last
        for _ in range(plan.n_sessions - misses):  # each with a run of its own, as for people
            row, hold = station.take(plan, store, Seat(panel.code(slot.slot), slot.slot, simulated=True))
            with hold:
                clocks = Clocks(clock.now_s, clock.utc)
                _sit(station.seated(plan, store, row, player=player, clocks=clocks), clock, decided)
        if misses:
            store.note(row.id, MISSED, detail="simulated")
        if on_progress is not None:
            on_progress(number + 1, wanted)
    n_answers = sum(store.n_answers().values())
    store.close()
    return n_answers


def _sit(sitting: Sitting, clock: Clock, decided: dict[str, Decision]) -> None:
    while not sitting.is_over:
        for act in _acts(sitting, clock, decided):
            if not sitting.act(act):
                raise LookupError(
                    f"a simulated listener wants to {act} at {sitting.stage.value}: not offered"
                )


def _acts(sitting: Sitting, clock: Clock, decided: dict[str, Decision]) -> Iterator[str]:
    match sitting.stage:
        case Stage.LEVEL:
            yield from ("play", "level_right")
        case Stage.INTRODUCTION:
            yield from ("play", "understood") if sitting.state.program.clips else ("understood",)
        case Stage.QUESTIONNAIRE:
            told = [option.value for option in sitting.state.options]
            # whoever sits on a place, the same answer to the same question in every run
            place = (sitting.state.slot + sitting.state.step.number) % len(told)
            yield from (f"choose:{told[place]}", "tell")
        case Stage.TRAINING:
            yield from ("play", "go_on")
        case Stage.TRIAL:
            decision = decided.get(sitting.state.trial.trial, REHEARSED)
            if not sitting.state.is_heard:  # the sounds of the trial before need no second hearing
                yield from ["play"] * sitting.plan.sitting.plays_at_least
            clock.s += decision.thinking_s
            yield from _answer(sitting, decision.answer)
            yield "confirm"
        case stage:
            clock.s += sitting.state.rest_s if stage is Stage.BREAK else 0.0
            yield ACT_AT[stage]


def _answer(sitting: Sitting, answer: str) -> Iterator[str]:
    """The acts that set an answer: chosen from a list, or put on one scale or several."""
    values = sitting.state.turn.values
    if not values:
        yield f"choose:{answer}"
    elif task_list.named(sitting.state.attribute.task).sheet == "gain":
        yield from _turned(sitting.state.trial.start_gain_db, float(answer), sitting.state.dial.step)
    else:
        for row, value in enumerate(answer.split()):
            if row:
                yield "row_down"
            yield f"put:{value}"


def _turned(start_db: float, wanted_db: float, step_db: float) -> list[str]:
    steps = round((wanted_db - start_db) / step_db)
    return ["more" if steps > 0 else "less"] * abs(steps) or ["more", "less"]
