"""How a study comes about: who is invited, stops early, withdraws, and when the answers are opened."""

from dataclasses import dataclass, field

import numpy as np

from listening.records.dealt.plan import Plan
from listening.records.protocols.stopping import Stopping
from listening.session.seating import next_slot


@dataclass(frozen=True)
class People:
    """What is assumed of those who are invited."""

    drop_outs: float = 0.1
    """Share who stop before the end and do not come back; their answers so far count."""
    withdrawals: float = 0.02
    """Share of those who finished who withdraw, before the answers are next opened."""
    misses: float = 0.0
    """With several sessions: share of those who do not come to the last, and are told to be so."""


@dataclass(frozen=True)
class Person:
    """One listener."""

    slot: int
    heard: float
    """Share of the trials that were answered; 1 for who finished."""
    withdrew: bool = False
    missed_last: bool = False
    """Whether the last of several sessions was missed; who says so counts as finished."""

    @property
    def finished(self) -> bool:
        """Whether the sitting came to its end."""
        return self.heard >= 1.0


@dataclass(frozen=True)
class Moment:
    """The answers are opened."""

    invited: int
    """So many people were invited by then."""
    finished: int
    """Who finished and did not withdraw."""
    ever: int
    """Who finished, those who withdrew with them."""
    at_end: bool
    closed: bool = False
    """Whether nobody was left to invite, and the rule lets that be enough."""


@dataclass
class Course:
    """Everybody who came, in order, and when the answers were opened."""

    people: list[Person] = field(default_factory=list)
    moments: list[Moment] = field(default_factory=list)

    @property
    def reached_its_end(self) -> bool:
        """Whether the rule of stopping was met before the places ran out."""
        return bool(self.moments) and self.moments[-1].at_end


def course(plan: Plan, stopping: Stopping, people: People, rng: np.random.Generator) -> Course:
    """One study, until its planned end or until no place is left."""
    made = Course()
    kept: set[int] = set()
    for _ in plan.slots:
        taken = {person.slot for person in made.people}
        slot = next(s for s in next_slot.in_order(plan, kept) if s not in taken)
        made.people.append(_person(slot, people, rng, several=plan.n_sessions > 1))
        if not made.people[-1].finished:
            continue
        kept.add(slot)
        now = _moment(made, plan.planned, stopping)
        looks = sum(not one.at_end for one in made.moments)
        is_due = looks < len(stopping.looks) and now.ever >= stopping.looks[looks]
        if now.at_end or is_due:
            made.moments.append(now)
        if now.at_end:
            return made
    last = _moment(made, plan.planned, stopping)
    if stopping.fewest is not None and last.finished >= stopping.fewest:
        made.moments.append(Moment(last.invited, last.finished, last.ever, at_end=True, closed=True))
    return made


def _person(slot: int, people: People, rng: np.random.Generator, *, several: bool) -> Person:
    stops, at, withdraws, misses = rng.random(4)
    if stops < people.drop_outs:
        return Person(slot, float(at))
    missed = several and bool(misses < people.misses)
    return Person(slot, 1.0, withdrew=bool(withdraws < people.withdrawals), missed_last=missed)


def _moment(made: Course, planned: int, stopping: Stopping) -> Moment:
    ever = sum(person.finished for person in made.people)
    finished = ever - sum(person.withdrew for person in made.people)
    counted = ever if stopping.withdrawn == "count" else finished
    return Moment(len(made.people), finished, ever, at_end=counted >= planned)
