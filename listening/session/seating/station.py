"""The blind station: a folder with the plan, the coded clips and the answers, and who sits at it."""

import re
import secrets
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime, timedelta

from listening.errors import ListeningError, StudyError
from listening.records.dealt.plan import Plan
from listening.records.study import Study
from listening.session.seating import next_slot, sessions_apart
from listening.session.seating.clocks import CLOCK_SLACK, Clocks
from listening.session.showing.words import Words, words
from listening.session.sitting import Sitting
from listening.session.sounding.player import Player
from listening.store import AnswerStore, SittingRow, Store, hold, open_store, place_of, utc_now

LISTENER_CODE = re.compile(r"[A-Za-z0-9_-]{1,16}")
CODE_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # no O or 0, no I or 1
CODE_LENGTH = 5
CODE_LONGEST = 16
CODE_SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_"  # what a listener may type as a code
DROPPED_OUT_AFTER = timedelta(hours=12)  # without a sign of life
SESSIONS_WITHIN = timedelta(days=14)  # a listener between two sessions is no drop-out for so long


@dataclass(frozen=True)
class Seat:
    """Who sits: a listener's code, or a slot, or (neither) the next free slot."""

    listener: str | None = None
    slot: int | None = None
    simulated: bool = False


def take(plan: Plan, store: AnswerStore, seat: Seat) -> tuple[SittingRow, AbstractContextManager[object]]:
    """The sitting of a seat, begun or resumed, kept from other processes until the second part is left.

    Raises
    ------
    ListeningError
        No slot is free, another process has the sitting, it is finished, its next session may not begin yet,
        or it belongs to another deal.
    """
    check_code(seat.listener)
    row = None
    if seat.listener or seat.slot is not None:
        row = store.resume(listener=seat.listener, slot=seat.slot, simulated=seat.simulated)
    if row is not None and not seat.listener and _is_apart(plan, row):
        row = None  # the place is free again
    if row is None:
        row = _begin(plan, store, seat)
    elif row.finished_at is not None:
        raise StudyError(f"listener {row.listener} (slot {row.slot}) has finished; nothing is left to do")
    if not plan.is_same_wording(row.study_digest):
        if _is_apart(plan, row):
            raise StudyError(
                f"listener {row.listener} began before the words on the screen were amended; what they "
                "answered is kept apart, and another listener takes the place"
            )
        raise StudyError(
            f"listener {row.listener} began another deal of this study ({row.study_digest[:12]}, "
            f"this one is {plan.study_digest[:12]}); use the station folder it began with"
        )
    if not seat.simulated:
        sessions_apart.check(plan, store, row, utc_now())
    return row, store.hold(row.id)


def _is_apart(plan: Plan, row: SittingRow) -> bool:
    """Whether a sitting of this deal read other words than those who sit now."""
    return row.study_digest in plan.digests and not plan.is_same_wording(row.study_digest)


def seated(
    plan: Plan,
    store: AnswerStore,
    row: SittingRow,
    *,
    player: Player,
    clocks: Clocks,
    spoken: Words | None = None,
    level_is_set: bool = False,
) -> Sitting:
    """A sitting on a taken seat, at the step where it stopped; `spoken`: other words than the plan's own."""
    note_clock(store, row, clocks.utc())
    spoken = spoken or words(plan.sitting.language)
    return Sitting(plan, row, store, player=player, clocks=clocks, words=spoken, level_is_set=level_is_set)


def open_answers(study: Study, *, durable: bool = True, now: Callable[[], str] = utc_now) -> Store:
    """The answer store of a study, its file made if it is not there."""
    return open_store(place_of(study), durable=durable, now=now)


def stay(study: Study) -> Callable[[], None]:
    """Say that somebody sits here, so that nobody deals or amends meanwhile; what comes back ends it."""
    return hold.stay(study.station)


def check_code(listener: str | None) -> None:
    """A listener's code is short and no sentence."""
    if listener is not None and not LISTENER_CODE.fullmatch(listener):
        raise ListeningError(
            f"listener code: found `{listener}`, wanted 1 to 16 letters, digits, - or _; "
            "use a code, not a name"
        )


def note_clock(store: AnswerStore, row: SittingRow, utc: str) -> None:
    """Write down where the wall clock has gone back since the sitting's last sign of life.

    Nobody is kept out: answers stand in the order they were given, whatever their times say, and times to
    answer come from a clock that only goes forward.
    """
    last = row.heartbeat_at or row.started_at
    if datetime.fromisoformat(utc) < datetime.fromisoformat(last) - CLOCK_SLACK:
        detail = (
            f"clock: this computer says {utc}, this sitting was last alive at {last}; set the clock right"
        )
        store.note(row.id, "caution", detail=detail)


def _begin(plan: Plan, store: AnswerStore, seat: Seat) -> SittingRow:
    dealt = [slot.slot for slot in plan.slots]
    if seat.slot is not None and seat.slot not in dealt:
        raise StudyError(f"slot {seat.slot}: this study has slots {dealt[0]} to {dealt[-1]}")
    _check_kind(store, seat)
    slots = _to_give(plan, store, seat.simulated) if seat.slot is None else [seat.slot]
    listener = seat.listener or "".join(secrets.choice(CODE_LETTERS) for _ in range(CODE_LENGTH))
    return store.start_sitting(
        listener, slots=slots, study_digest=plan.study_digest, simulated=seat.simulated
    )


def _check_kind(store: AnswerStore, seat: Seat) -> None:
    """People and simulated listeners never sit in one study."""
    others = len(store.slot_use(simulated=not seat.simulated))
    if others:
        there = f"{others} people" if seat.simulated else f"{others} simulated listeners"
        raise StudyError(
            f"{there} sat in this study already, and simulated answers never stand among human ones; deal "
            'the study anew (listening deal FOLDER --again "why"), or use another study folder'
        )


def _to_give(plan: Plan, store: AnswerStore, simulated: bool) -> list[int]:
    """Slots for the next listener, the one that evens the plan out first; a drop-out counts as lost."""
    now = datetime.fromisoformat(utc_now())
    between = timedelta(hours=plan.sessions_apart_h) + SESSIONS_WITHIN
    lost_after = DROPPED_OUT_AFTER if plan.n_sessions < 2 else between
    there = [
        use.slot
        for use in store.slot_use(simulated=simulated)
        if (not use.study_digest or plan.is_same_wording(use.study_digest))
        and (use.finished or abs(now - datetime.fromisoformat(use.alive_at)) < lost_after)
    ]
    return next_slot.in_order(plan, there)
