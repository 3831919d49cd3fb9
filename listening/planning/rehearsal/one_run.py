"""One rehearsed study: dealt, sat, looked at and decided, in memory and under a key of its own."""

from dataclasses import dataclass

import numpy as np

from listening.analysis import planned_verdicts
from listening.analysis.opening import looks
from listening.analysis.opening.looks import Look, Seen
from listening.analysis.opening.sealed_key import Opened
from listening.planning.rehearsal.hoped import Hoped
from listening.planning.rehearsal.sitting_length import Lengths
from listening.records.found.findings_study import ListenerRow
from listening.records.protocols.protocol import Protocol
from listening.simulate import recruiting, true_effects
from listening.simulate.recruiting import Course, Moment, People
from listening.simulate.true_effects import Answered, BoolArray, Trials

DECIDED = ("supported", "contradicted")
NEVER_OPENED = "never decided"
"""The places ran out before the rule of stopping was met."""


@dataclass(frozen=True)
class Setting:
    """What all runs of one state share."""

    opened: Opened
    trials: Trials
    hoped: Hoped
    panel: true_effects.Panel
    people: People
    lengths: Lengths
    about_level: frozenset[str]


@dataclass(frozen=True)
class Run:
    """What one study came to."""

    words: dict[str, str]
    """By question and superlative: the first word that decides, else the last."""
    invited: int
    finished: int
    """Who finished and did not withdraw, at the last opening."""
    stopped_at_look: bool
    """Whether a planned look had decided everything."""
    n_openings: int
    honest: int
    """Listeners with answers who did not answer at random."""
    honest_lost: int
    """Of these, left out by the rules of exclusion."""
    at_random: int
    caught: int
    minutes: tuple[float, ...]
    """Length of each session of those who finished."""


def run(setting: Setting, rng: np.random.Generator) -> Run:
    """One study of the setting: same generator, same study."""
    opened, trials = setting.opened, setting.trials
    course = recruiting.course(opened.plan, opened.protocol.stopping, setting.people, rng)
    said = true_effects.answers(trials, setting.panel, setting.about_level, rng)
    groups = _groups(opened.protocol, len(opened.plan.slots), rng)
    stayed = {p.slot: p.missed_last for p in course.people if p.finished}
    minutes = setting.lengths.minutes(trials, said, stayed, rng)
    words: dict[str, str] = {}
    listeners: tuple[ListenerRow, ...] = ()
    before: list[Moment] = []
    at = None
    for at in course.moments:
        keep = _answered(trials, course, at)
        seen = planned_verdicts.screened(opened, true_effects.columns(trials, said, keep), opened.protocol)
        look = _look(at, before, opened.plan.planned)
        protocol = looks.protocol_at(opened.protocol, look)
        found = planned_verdicts.words(seen, protocol, groups=groups, look=look)
        words = {name: words[name] if words.get(name) in DECIDED else found[name] for name in found}
        listeners = seen.listeners
        before.append(at)
        if all(words[q.id] in DECIDED for q in opened.protocol.questions):
            break
    if at is None or not (at.at_end or all(word in DECIDED for word in words.values())):
        words = _unopened(opened.protocol, words)
    return _told(words, course, before, listeners, said, minutes)


def _told(
    words: dict[str, str],
    course: Course,
    seen: list[Moment],
    listeners: tuple[ListenerRow, ...],
    said: Answered,
    minutes: tuple[float, ...],
) -> Run:
    slots = {row.listener: int(row.listener[1:]) - 1 for row in listeners}
    random = {row.listener for row in listeners if slots[row.listener] in said.at_random}
    lost = {row.listener for row in listeners if row.excluded}
    last = seen[-1] if seen else None
    return Run(
        words=words,
        invited=last.invited if last else len(course.people),
        finished=last.finished if last else sum(p.finished and not p.withdrew for p in course.people),
        stopped_at_look=last is not None and not last.at_end and NEVER_OPENED not in words.values(),
        n_openings=len(seen),
        honest=len(listeners) - len(random),
        honest_lost=len(lost - random),
        at_random=len(random),
        caught=len(lost & random),
        minutes=minutes,
    )


def _answered(trials: Trials, course: Course, at: Moment) -> BoolArray:
    """Which trials were answered by then, by listeners who did not withdraw."""
    share = np.zeros(int(trials.slot.max()) + 1)
    n_sessions = int(trials.session.max(initial=0)) + 1
    met = np.full(len(share), n_sessions)
    for person in course.people[: at.invited]:
        share[person.slot] = 0.0 if person.withdrew else person.heard
        met[person.slot] = n_sessions - person.missed_last
    of_slot = np.bincount(trials.slot)
    place = np.arange(len(trials.slot)) - np.concatenate([[0], np.cumsum(of_slot)[:-1]])[trials.slot]
    came = trials.session < met[trials.slot]
    return np.asarray((place < np.floor(share * of_slot)[trials.slot]) & came)


def _look(at: Moment, before: list[Moment], planned: int) -> Look:
    seen = [Seen(one.finished, one.ever, one.at_end, f"{i}") for i, one in enumerate([*before, at])]
    return Look(seen[-1], planned, tuple(seen[:-1]), "no place was left" if at.closed else "")


def _unopened(protocol: Protocol, words: dict[str, str]) -> dict[str, str]:
    """The end was never reached: what no look decided stays closed."""
    asked = [q.id for q in protocol.questions] + [s.id for s in protocol.superlatives]
    return {name: words[name] if words.get(name) in DECIDED else NEVER_OPENED for name in asked}


def _groups(protocol: Protocol, n_slots: int, rng: np.random.Generator) -> dict[str, set[str]]:
    """Who belongs to each planned subgroup, every answer of the questionnaire being equally likely."""
    asked = {one.wording: one.answers for one in protocol.sitting.questionnaire}
    said = {wording: rng.choice(answers, size=n_slots) for wording, answers in asked.items()}
    return {
        q.id: {
            f"S{slot + 1:03d}"
            for slot, answer in enumerate(said[q.among.wording])
            if answer in q.among.answers
        }
        for q in protocol.questions
        if q.among is not None
    }
