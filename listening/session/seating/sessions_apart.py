"""Between two sessions: who owes one, whose next one may begin, and who will not come again."""

from collections.abc import Collection
from datetime import datetime, timedelta

from listening.errors import StudyError
from listening.records.dealt.plan import Plan, PlannedTrial
from listening.records.protocols.sessions import MISSED, OVER
from listening.session.seating.clocks import CLOCK_SLACK
from listening.store import AnswerStore, SittingRow, Store


def owed(trials: Collection[PlannedTrial], answered: Collection[str]) -> int | None:
    """The number of the session that comes next; None inside a session, and after the last.

    Parameters
    ----------
    answered : ids of trials that have an answer, practice included
    """
    left = [t for t in trials if t.trial not in answered]
    if not left or left[0].session == 1:
        return None
    is_begun = any(t.trial in answered for t in trials if t.session == left[0].session)
    return None if is_begun else left[0].session


def check(plan: Plan, store: AnswerStore, row: SittingRow, utc: str) -> None:
    """Refuse a session that begins too early, and one of a listener who was said not to come again.

    Where the clock has gone back since the session before, how long ago that was is not known: nobody is kept
    out, and the sitting notes the clock (see `station.note_clock`).

    Raises
    ------
    StudyError
        With the time from which on it may begin.
    """
    if plan.n_sessions < 2:
        return
    events = store.events(row.id)
    if any(event.kind == MISSED for event in events):
        raise StudyError(
            f"listener {row.listener} was marked as not coming again (listening desk --missed), so that this "
            "sitting is closed"
        )
    trials = next(slot.trials for slot in plan.slots if slot.slot == row.slot)
    number = owed(trials, store.answered(row.id))
    ended = [event.at for event in events if event.kind == OVER]
    if number is None or not ended or not plan.sessions_apart_h:
        return
    over, now = datetime.fromisoformat(ended[-1]), datetime.fromisoformat(utc)
    if now < over - CLOCK_SLACK:  # a clock went back: nobody waits for a date that was never right
        return
    opens = over + timedelta(hours=plan.sessions_apart_h)
    if now < opens:
        raise StudyError(
            f"listener {row.listener}: session {number} may begin {plan.sessions_apart_h:g} hours after the "
            f"one before, from {opens:%Y-%m-%d %H:%M} UTC on"
        )


def miss(plan: Plan, store: Store, listener: str) -> None:
    """Write down that a listener comes to no further session; the sitting is closed and counts as finished.

    Raises
    ------
    StudyError
        There is one session only, no such listener, or the listener is not between two sessions.
    """
    if plan.n_sessions < 2:
        raise StudyError("this study has one session; who stops in it leaves a sitting unfinished")
    row = store.resume(listener=listener)
    row = row or store.resume(listener=listener, simulated=True)
    if row is None:
        raise StudyError(f"no sitting of {listener}; look at the codes first (listening desk FOLDER)")
    trials = next(slot.trials for slot in plan.slots if slot.slot == row.slot)
    events = store.events(row.id)
    if row.finished_at is not None or any(event.kind == MISSED for event in events):
        raise StudyError(f"listener {listener}: the sitting is closed already; nothing was changed")
    if owed(trials, store.answered(row.id)) is None:
        raise StudyError(
            f"listener {listener} is in the middle of a session, not between two; a sitting that was left "
            "stays unfinished, and its answers count as far as they go. Nothing was changed"
        )
    with store.hold(row.id):
        store.note(row.id, MISSED)
