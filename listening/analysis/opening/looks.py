"""Whether the planned end is reached; a look before it is logged, counted, and decides only as planned."""

import re
from collections import Counter
from dataclasses import dataclass

from listening.analysis.opening.sealed_key import LOG
from listening.errors import StudyError
from listening.records.findings import Looks, QuestionFinding
from listening.records.protocol import Protocol
from listening.records.stopping import Stopping
from listening.records.study import Study
from stats.deciding import alpha_spending

NOT_PLANNED = "an interim look that the stopping rule did not plan decides nothing"
_INTERIM = re.compile(r" interim look, (\d+) of \d+ finished, study (\w+)$")


@dataclass(frozen=True)
class Look:
    """One analysis in the course of a study."""

    finished: int
    planned: int
    at_end: bool
    earlier: tuple[int, ...]
    """Finished listeners at the looks before this one."""
    closed: str = ""
    """Why recruitment ended with fewer than planned; empty otherwise."""

    def line(self, study_digest: str) -> str:
        """What the log of openings says of it."""
        count = f"{self.finished} of {self.planned} finished"
        if not self.at_end:
            return f"interim look, {count}, study {study_digest[:16]}"
        return f"analyse, {count}, study {study_digest[:16]}" + (
            f", closed: {self.closed}" if self.closed else ""
        )

    def counts(self, stopping: Stopping) -> tuple[int, ...]:
        """Finished listeners at the looks that the rule planned, this one with them; the end left out."""
        taken: list[int] = []
        for finished in (*self.earlier, *(() if self.at_end else (self.finished,))):
            if len(taken) < len(stopping.looks) and finished >= stopping.looks[len(taken)]:
                taken.append(finished)
        return tuple(taken)

    def is_planned(self, stopping: Stopping) -> bool:
        """Whether the stopping rule lets this look decide."""
        return self.at_end or (self.finished in self.counts(stopping))

    def unplanned(self, stopping: Stopping) -> int:
        """How many looks so far, this one with them, the rule did not plan."""
        looks = len(self.earlier) + (not self.at_end)
        return looks - len(self.counts(stopping))


def look(
    study: Study,
    study_digest: str,
    protocol: Protocol,
    *,
    finished: int,
    interim: bool = False,
    closed: str = "",
) -> Look:
    """The look that an analysis now would be.

    Parameters
    ----------
    finished : listeners who finished their sitting
    interim : the person asked for a look before the end
    closed : why no more listeners will come

    Raises
    ------
    StudyError
        The planned end is not reached and no interim look was asked for, or recruitment cannot end yet.
    """
    planned, stopping = protocol.panel.listeners, protocol.stopping
    enough = planned if stopping.fewest is None or not closed else stopping.fewest
    if closed and finished < enough:
        raise StudyError(
            f"{finished} listeners finished: the stopping rule lets recruitment end early only from "
            f"{stopping.fewest or planned} on; go on, or take an interim look: listening analyse "
            f"{study.root} --interim"
        )
    at_end = finished >= enough
    if not at_end and not interim:
        raise StudyError(
            f"{finished} of {planned} planned listeners finished: the answers stay closed until the planned "
            f"end. A look before it is logged and reported: listening analyse {study.root} --interim"
        )
    earlier = tuple(n for n in _logged(study, study_digest) if n < finished)
    return Look(finished, planned, at_end, earlier, closed if at_end and finished < planned else "")


def protocol_at(protocol: Protocol, now: Look) -> Protocol:
    """The protocol with the alpha that its spending rule leaves each question at this look.

    In a family of m the rule spends alpha / m on each; what it leaves is given back times m, so that the
    steps through the family divide it by m, m - 1 and so on without ever spending more than their share.

    Source: Maurer & Bretz 2013, Statist. Biopharm. Res. 5, 311-320.
    """
    if protocol.stopping.spending == "none" or not now.is_planned(protocol.stopping):
        return protocol
    counts = now.counts(protocol.stopping)
    shares = [n / now.planned for n in counts] + ([1.0] if now.at_end else [])
    families = Counter(q.family for q in protocol.questions)
    questions = tuple(
        q.model_copy(
            update={"alpha": _left(shares, q.alpha, protocol.stopping, families[q.family] if q.family else 1)}
        )
        for q in protocol.questions
    )
    return protocol.model_copy(update={"questions": questions})


def decided(questions: list[QuestionFinding], protocol: Protocol, now: Look) -> list[QuestionFinding]:
    """The questions as they may be told: a look that was not planned gives no verdict."""
    if now.is_planned(protocol.stopping):
        return questions
    return [q.model_copy(update={"word": "no verdict", "reason": NOT_PLANNED}) for q in questions]


def record(protocol: Protocol, now: Look) -> Looks:
    """The look as the findings keep it."""
    return Looks(
        finished=now.finished,
        planned=now.planned,
        at_end=now.at_end,
        earlier=now.earlier,
        unplanned=now.unplanned(protocol.stopping),
        rule_looks=tuple(protocol.stopping.looks),
        spending=protocol.stopping.spending,
        closed=now.closed,
    )


def _left(shares: list[float], alpha: float, stopping: Stopping, size: int) -> float:
    rule = stopping.spending
    assert rule != "none"  # for the type checker: the caller looked
    return size * float(alpha_spending.bounds(shares, alpha / size, rule).nominal_alpha[-1])


def _logged(study: Study, study_digest: str) -> list[int]:
    """Finished listeners at each logged look at this deal, once each, in order."""
    path = study.sealed / LOG
    lines = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    found = (_INTERIM.search(line) for line in lines)
    return sorted({int(m[1]) for m in found if m and m[2] == study_digest[:16]})
