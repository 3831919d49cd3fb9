"""Whether the planned end is reached; a look before it is logged, spends error, and decides only as planned.

What a look has spent stays spent: it is counted by everybody who ever finished, so that a withdrawal gives
nothing back; and once the end was analysed, the same question is not put again to more answers.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from listening.analysis.opening import sealed_key
from listening.errors import StudyError
from listening.records.found.findings_study import Looks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stopping import Stopping
from listening.records.study import Study
from stats.deciding import alpha_spending

ALPHA_DIGITS = 12  # significant; what is beyond comes from the search for the bound
COUNTS_ONLY = (
    "an interim look that the stopping rule did not plan shows counts of listeners and decides nothing"
)
_DECIDED = re.compile(
    r" (interim look|analyse), (\d+) of \d+ finished(?: \((\d+) ever\))?, study (\w+)(?:, answers (\w+))?"
)


@dataclass(frozen=True)
class Seen:
    """One look at decided numbers, as the log of openings has it."""

    finished: int
    ever: int
    """Everybody who had finished until then, those who withdrew with them."""
    at_end: bool
    answers: str
    """Start of the answers' hash; empty in logs of earlier versions."""

    def is_again(self, other: "Seen") -> bool:
        """Whether both saw the same answers; earlier versions logged their number alone."""
        if self.answers and other.answers:
            return self.answers == other.answers
        return (self.finished, self.at_end) == (other.finished, other.at_end)


@dataclass(frozen=True)
class Look:
    """One analysis in the course of a study."""

    now: Seen
    planned: int
    before: tuple[Seen, ...] = ()
    """The different looks at decided numbers before this one, oldest first."""
    closed: str = ""
    """Why recruitment ended with fewer than planned; empty otherwise."""
    ended: Seen | None = None
    """The first analysis of the end, if it was analysed before."""

    @property
    def finished(self) -> int:
        """Listeners who finished and did not withdraw."""
        return self.now.finished

    @property
    def at_end(self) -> bool:
        """Whether the planned number finished, or recruitment was closed as the rule allows."""
        return self.now.at_end

    @property
    def earlier(self) -> tuple[int, ...]:
        """Finished listeners at the looks before this one."""
        return tuple(one.finished for one in self.before)

    def line(self, study_digest: str, stopping: Stopping) -> str:
        """What the log of openings says of it."""
        count = f"{self.finished} of {self.planned} finished"
        if not self.is_planned(stopping):
            return f"counts only, {count}, study {study_digest[:16]}"
        what = "analyse" if self.at_end else "interim look"
        said = f"{what}, {count} ({self.now.ever} ever), study {study_digest[:16]}"
        said += f", answers {self.now.answers}" if self.now.answers else ""
        return said + (f", closed: {self.closed}" if self.closed else "")

    def spending(self, stopping: Stopping) -> tuple[Seen, ...]:
        """The looks that the rule planned, this one with them, oldest first; the end left out."""
        taken: list[Seen] = []
        for one in (*self.before, self.now):
            if one.at_end or len(taken) == len(stopping.looks) or one.ever < stopping.looks[len(taken)]:
                continue
            if not taken or self.information(one) > self.information(taken[-1]):
                taken.append(one)
        return tuple(taken)

    def information(self, one: Seen) -> float:
        """At a look before the end, as a share of the plan, by everybody who ever finished.

        Whoever withdrew is counted: the look that saw those answers has spent on them. Where so many sat that
        nothing is left before the end, a further look adds nothing and may spend nothing.
        """
        return min(one.ever, self.planned - 1) / self.planned

    def lost(self, stopping: Stopping) -> bool:
        """Whether answers that an earlier look may have seen were taken out since, until the end at most."""
        last = self.ended or self.now
        gone = last.ever - last.finished
        return any(one.ever - one.finished < gone for one in self.spending(stopping) if one != self.now)

    def is_planned(self, stopping: Stopping) -> bool:
        """Whether the stopping rule lets this look decide."""
        return self.at_end or self.now in self.spending(stopping)

    def unplanned(self, stopping: Stopping) -> int:
        """How many looks before this one showed numbers without a rule; only earlier versions let them."""
        return sum(not one.at_end and one not in self.spending(stopping) for one in self.before)


def look(
    study: Study,
    study_digest: str,
    protocol: Protocol,
    *,
    finished: int,
    withdrawn: int = 0,
    answers: str = "",
    interim: bool = False,
    closed: str = "",
    before: Sequence[str] = (),
) -> Look:
    """The look that an analysis now would be.

    Parameters
    ----------
    finished : listeners who finished their sitting
    withdrawn : listeners whose answers were removed since the study was dealt
    answers : hash of the counted answers; the same answers are the same look
    interim : the person asked for a look before the end
    closed : why no more listeners will come
    before : the plan's hashes before it was amended; looks under them count

    Raises
    ------
    StudyError
        The planned end is not reached and no interim look was asked for, recruitment cannot end yet, or the
        end was analysed before with fewer answers.
    """
    planned, stopping = protocol.n_planned, protocol.stopping
    ever = finished + withdrawn
    logged = _logged(study, {study_digest, *before})
    ended = _ended(study, logged, ever, answers[:16])
    late = planned - protocol.panel.listeners
    enough = planned if stopping.fewest is None or not closed else stopping.fewest + late
    if closed and finished < enough and ended is None:
        raise StudyError(
            f"{finished} listeners finished: the stopping rule lets recruitment end early only from "
            f"{stopping.fewest or planned} on; go on, or look at the counts: listening analyse "
            f"{study.root} --interim"
        )
    counted = ever if stopping.withdrawn == "count" else finished
    at_end = counted >= enough or ended is not None
    if not at_end and not interim:
        raise StudyError(
            f"{finished} of {planned} planned listeners finished{_gone(withdrawn, stopping)}: the answers "
            f"stay closed until the planned end. A look before it is logged and reported: listening analyse "
            f"{study.root} --interim"
        )
    now = Seen(finished, ever, at_end, answers[:16])
    said = closed if at_end and finished < planned else ""
    return Look(now, planned, _before(logged, now), said, ended)


def check_end(study: Study, digests: set[str], *, ever: int, answers: str) -> None:
    """Refuse answers that were added to a question whose end was analysed under the plans of these hashes.

    Parameters
    ----------
    ever : listeners of that question who finished until now, those who withdrew with them
    answers : hash of their answers

    Raises
    ------
    StudyError
        More listeners finished since then.
    """
    _ended(study, _logged(study, digests), ever, answers[:16])


def _gone(withdrawn: int, stopping: Stopping) -> str:
    """What is to be said of those who withdrew: whether they count, as the plan says."""
    counts = "counts without answers" if withdrawn == 1 else "count without answers"
    what = counts if stopping.withdrawn == "count" else "the plan wants each replaced"
    return f" ({withdrawn} withdrew, and {what})" if withdrawn else ""


def protocol_at(protocol: Protocol, now: Look) -> Protocol:
    """The protocol with the alpha that its spending rule leaves each question at this look.

    In a family of m the rule spends alpha / m on each; what it leaves is given back times m, so that the
    steps through the family divide it by m, m - 1 and so on without ever spending more than their share.

    Source: Maurer & Bretz 2013, Statist. Biopharm. Res. 5, 311-320.
    """
    if protocol.stopping.spending == "none" or not now.is_planned(protocol.stopping):
        return protocol
    families = Counter(q.family for q in protocol.questions)
    questions = tuple(
        q.model_copy(
            update={"alpha": _left(now, q.alpha, protocol.stopping, families[q.family] if q.family else 1)}
        )
        for q in protocol.questions
    )
    return protocol.model_copy(update={"questions": questions})


def record(protocol: Protocol, now: Look) -> Looks:
    """The look as the findings keep it."""
    return Looks(
        finished=now.finished,
        planned=now.planned,
        at_end=now.at_end,
        earlier=now.earlier,
        unplanned=now.unplanned(protocol.stopping),
        counts_only=not now.is_planned(protocol.stopping),
        withdrawn=now.now.ever - now.finished,
        rule_looks=tuple(protocol.stopping.looks),
        spending=protocol.stopping.spending,
        closed=now.closed,
    )


def _shares(now: Look, stopping: Stopping) -> list[float]:
    """The information at each spending look as a share of the plan, growing; 1 at the end."""
    shares = [now.information(one) for one in now.spending(stopping)]
    return [*shares, 1.0] if now.at_end else shares


def _left(now: Look, alpha: float, stopping: Stopping, size: int) -> float:
    """Alpha at this look; less where the looks share fewer answers than their bounds suppose."""
    rule = stopping.spending
    assert rule != "none"  # for the type checker: the caller looked
    shares = _shares(now, stopping)
    if now.lost(stopping):
        left = size * alpha_spending.spent_anew(shares, alpha / size, rule)
    else:
        left = size * float(alpha_spending.bounds(shares, alpha / size, rule).nominal_alpha[-1])
    return float(f"{left:.{ALPHA_DIGITS}g}")


def _ended(study: Study, logged: Sequence[Seen], ever: int, answers: str) -> Seen | None:
    """The first analysis of the end, if there was one.

    Raises
    ------
    StudyError
        More listeners finished since then, and their answers are still there.
    """
    first = next((one for one in logged if one.at_end), None)
    if first is not None and ever > first.ever and (not answers or answers != first.answers):
        raise StudyError(
            f"{study.root}: the end was analysed with {first.finished} listeners, and "
            f"{ever - first.ever} more finished since: its verdicts stand. The error rate is spent, and more "
            "answers would ask the same question twice. Plan a new study for them"
        )
    return first


def _before(logged: Sequence[Seen], now: Seen) -> tuple[Seen, ...]:
    """The different looks before the first that saw what is seen now; ends left out."""
    made: list[Seen] = []
    for one in logged:
        if one.is_again(now):
            break
        if not one.at_end and not any(one.is_again(other) for other in made):
            made.append(one)
    return tuple(made)


def _logged(study: Study, digests: set[str]) -> Sequence[Seen]:
    """Each logged look at decided numbers of this deal, in order."""
    lines, short = sealed_key.lines(study), {digest[:16] for digest in digests}
    found = [m for line in lines if (m := _DECIDED.search(line)) and m[4] in short]
    return [Seen(int(m[2]), int(m[3] or m[2]), m[1] == "analyse", m[5] or "") for m in found]
