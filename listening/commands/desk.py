"""`listening desk`: the researcher's view of a running study: who sits, how far; no answer, no key."""

import argparse
import sys
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from listening.console import show
from listening.records.dealt import head_code
from listening.records.dealt.plan import Plan
from listening.records.dealt.room import Room
from listening.records.forms.text import plain
from listening.records.protocols.sessions import MISSED, OVER
from listening.records.sounds.level import Level
from listening.records.study import KEY_BESIDE, Study

if TYPE_CHECKING:
    from listening.store.store import EventRow

ALIVE_S = 90.0  # three heartbeats
ASKED = "asked"  # the event that a sitting looks for
TRIALS_FOR_A_PACE = 3
LONGEST_TRIAL_S = 600.0  # a longer time between two answers is a pause, not a pace
STAGE_AFTER = {
    "agreed": "level",
    "level set": "question explained",
    "introduced": "trials",
    "trained": "trials",
    "rested": "trials",
    "finished": "done",
    "declined": "not taking part",
}
"""Where a listener is after an event of that kind."""


@dataclass(frozen=True)
class Row:
    """One slot that somebody has."""

    slot: int
    listener: str
    state: str
    done: int
    trials: int
    voids: int
    last_sign: str
    dose: str
    stage: str = ""
    """Where the listener is, as far as the record tells."""
    minutes_to_go: int | None = None
    """At the pace of the answers so far; None before the third."""
    calls: tuple[str, ...] = ()
    """When the listener called for help, time of day, UTC."""
    is_calling: bool = False
    """Whether nothing was done at the booth since the last call."""
    not_sure: tuple[str, ...] = ()
    """Attributes that the listener was not sure to understand."""
    void_reasons: tuple[str, ...] = ()
    """Why plays did not count, each once."""
    session: str = ""
    """Of several sessions, how many are over: `1 of 2`."""
    owes: int | None = None
    """The session that comes next, where the listener is between two."""
    hearing: tuple[str, ...] = ()
    """What the hearing check said, where there was one: a screening, no medical test."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder; only its station folder is needed")
    parser.add_argument(
        "--watch",
        action="store_true",
        help="stay, look again every two seconds, and pause or end a sitting by a key",
    )
    parser.add_argument(
        "--hand-over",
        metavar="CODE",
        help="let this listener go on at another booth of the server",
    )
    parser.add_argument(
        "--missed",
        metavar="CODE",
        help="write down that this listener comes to no further session; the planned rule says what counts",
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Print the table, once or until stopped."""
    study = Study(args.folder)
    plan = Plan.load(study.plan)
    if args.hand_over is not None:
        return _hand_over(args, study)
    if args.missed is not None:
        return _miss(args, study, plan)
    if not args.watch:
        found = rows(study, plan)
        show.result(
            args,
            [*_lines(found, plan), *_of_study(study)],
            {
                "slots": len(plan.slots),
                "sittings": [asdict(r) for r in found],
                "head": _head(study),
                "key_beside": study.key_lies_beside,
                "key": _key(study),
                "room": _room(study),
            },
        )
        return 0
    return _watch(study, plan)


def _watch(study: Study, plan: Plan) -> int:
    """The live screen; until it is left."""
    from listening.errors import ListeningError
    from listening.tui.desk_screen import Desk

    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise ListeningError("--watch needs a terminal: start it in one, or look once without it")
    desk = Desk(
        HEAD,
        lambda: [_shown(row) for row in rows(study, plan)],
        lambda: [plain(line) for line in _below(rows(study, plan), study, plan)],
        lambda listener, act: ask(study, listener, act),
    )
    desk.run()
    if desk.trouble is not None:
        raise desk.trouble
    return 0


def ask(study: Study, listener: str, act: str) -> None:
    """Ask a sitting under way to `pause` or to `end`; it looks every half minute."""
    from listening.store import open_store, place_of

    store = open_store(place_of(study), create=False)
    try:
        for sitting in store.sittings():
            if sitting.listener == listener and sitting.finished_at is None and not sitting.simulated:
                store.note(sitting.id, ASKED, detail=act)
    finally:
        store.close()


def _hand_over(args: argparse.Namespace, study: Study) -> int:
    from listening.store import open_store, place_of

    store = open_store(place_of(study), create=False)
    try:
        store.hand_over(args.hand_over)
    finally:
        store.close()
    show.result(args, [f"{args.hand_over} may go on at any booth"], {"handed_over": args.hand_over})
    return 0


def _miss(args: argparse.Namespace, study: Study, plan: Plan) -> int:
    """Close a sitting between two sessions; it counts as finished from now on."""
    from listening.session.seating import sessions_apart
    from listening.store import open_store, place_of

    store = open_store(place_of(study), create=False)
    try:
        sessions_apart.miss(plan, store, args.missed)
    finally:
        store.close()
    lines = [
        f"{args.missed} comes to no further session. The answers so far stay, and the planned rule says "
        "which questions they decide."
    ]
    show.result(args, lines, {"missed": args.missed})
    return 0


def rows(study: Study, plan: Plan) -> list[Row]:
    """What is known of each sitting, in the order of slots."""
    from listening.session.seating import sessions_apart
    from listening.session.sounding import exposure, hearing_check
    from listening.store import open_store, place_of

    store = open_store(place_of(study), create=False)
    n_answers = store.n_answers()
    pascal = Level.load(study.level).pascal_per_full_scale if study.level.is_file() else None
    trials = {slot.slot: sum(not t.practice for t in slot.trials) for slot in plan.slots}
    dealt = {slot.slot: slot.trials for slot in plan.slots}
    made = []
    for sitting in store.sittings():
        events = store.events(sitting.id)
        last = sitting.heartbeat_at or sitting.started_at
        answered = store.answered(sitting.id) if plan.n_sessions > 1 else {}
        owes = sessions_apart.owed(dealt.get(sitting.slot, ()), answered) if plan.n_sessions > 1 else None
        made.append(
            Row(
                slot=sitting.slot,
                listener=sitting.listener + (" (simulated)" if sitting.simulated else ""),
                state=_state(sitting.finished_at is not None, events, last=last, owes=owes),
                done=n_answers.get(sitting.id, 0),
                trials=trials.get(sitting.slot, 0),
                voids=sum(event.kind == "void" for event in events),
                last_sign=last,
                dose=exposure.words(exposure.sent(events), pascal),
                stage=_stage(events, may_train=plan.sitting.training),
                session=_session(events, plan),
                owes=None if any(event.kind == MISSED for event in events) else owes,
                minutes_to_go=_minutes_to_go(
                    [a.answered_at for a in store.answers(sitting.id) if not a.practice],
                    trials.get(sitting.slot, 0),
                ),
                calls=tuple(event.at[11:16] for event in events if event.kind == "help"),
                is_calling=bool(events) and events[-1].kind == "help",
                not_sure=tuple(e.detail.split("|")[0] for e in events if "|not sure|" in e.detail),
                void_reasons=tuple(dict.fromkeys(e.detail.split(";")[0] for e in events if e.kind == "void")),
                hearing=hearing_check.told(events),
            )
        )
    store.close()
    return sorted(made, key=lambda row: (row.slot, row.listener))


def _session(events: "Sequence[EventRow]", plan: Plan) -> str:
    over = len({event.detail for event in events if event.kind == OVER})
    finished = any(event.kind == "finished" for event in events)
    return f"{over + finished} of {plan.n_sessions}" if plan.n_sessions > 1 else ""


def _state(finished: bool, events: "Sequence[EventRow]", *, last: str, owes: int | None = None) -> str:
    kind = events[-1].kind if events else ""
    if kind == "declined":
        return "declined"
    if finished:
        return "finished"
    if any(event.kind == MISSED for event in events):
        return "missed the rest"
    if owes is not None:
        return f"owes session {owes}"
    if kind == "left" and _was_ended(events):
        return "ended from here"
    if kind in ("left", "paused"):
        return kind
    silent_s = (datetime.now(UTC) - datetime.fromisoformat(last)).total_seconds()
    if silent_s < -ALIVE_S:
        return "clock ahead"  # of the booth that wrote it down
    return "sits" if silent_s < ALIVE_S else f"silent {silent_s / 60:.0f} min"


def _was_ended(events: "Sequence[EventRow]") -> bool:
    """Whether the desk asked for the end of the run that was left last."""
    from listening.session.sounding import exposure

    asked = False
    for event in events:
        asked = event.kind != exposure.OPENED and (asked or (event.kind, event.detail) == (ASKED, "end"))
    return asked


def _stage(events: "Sequence[EventRow]", *, may_train: bool = False) -> str:
    """The stage after the last event that ends one."""
    found = [event.kind for event in events if event.kind in STAGE_AFTER]
    if not found:
        return "welcome"
    return "training, trials" if may_train and found[-1] == "introduced" else STAGE_AFTER[found[-1]]


def _minutes_to_go(answered_at: list[str], trials: int) -> int | None:
    """Minutes that the trials left take at the median time between answers."""
    if len(answered_at) < TRIALS_FOR_A_PACE:
        return None
    times = [datetime.fromisoformat(at).timestamp() for at in answered_at]
    steps = [b - a for a, b in pairwise(times) if 0 <= b - a < LONGEST_TRIAL_S]
    left = trials - len(answered_at)
    return round(median(steps) * left / 60 + 0.5) if steps and left > 0 else 0


HEAD = ("slot", "listener", "state", "stage", "trials", "to go", "void", "last sign", "dose")


def _shown(row: Row) -> tuple[str, ...]:
    """One sitting in words, a cell for each word of the head."""
    left = "" if row.minutes_to_go is None or row.state != "sits" else f"{row.minutes_to_go} min"
    state = "calls for help" if row.is_calling else row.state
    counts = (f"{row.done}/{row.trials}", left, str(row.voids), row.last_sign[11:19])
    return (str(row.slot), row.listener, state, row.stage, *counts, row.dose)


def _lines(found: list[Row], plan: Plan) -> list[str]:
    cells = [HEAD, *map(_shown, found)]
    widths = [max(len(row[i]) for row in cells) for i in range(len(HEAD))]
    table = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in cells
    ]
    return [*table, *_notes(found, plan)]


def _notes(found: list[Row], plan: Plan) -> list[str]:
    finished = sum(r.state == "finished" for r in found)
    counts = f"{len(plan.slots)} slots dealt, {len(found)} begun, {finished} finished"
    owing = [r for r in found if r.owes is not None]
    if plan.n_sessions > 1:
        counts += f", {len(owing)} between two of {plan.n_sessions} sessions"
    return [
        *_remarks(found),
        *_hearing(found),
        counts,
        "last sign: time of day, UTC",
        "dose: A-weighted, of one sitting; local rules and a qualified person decide",
    ]


def _below(found: list[Row], study: Study, plan: Plan) -> list[str]:
    """What stands under the live table."""
    return [*_notes(found, plan), *_of_study(study)]


def _of_study(study: Study) -> list[str]:
    """Where the record of all sittings stands, and whether the key lies where they sit."""
    lines = [
        f"head of the record: {_head(study)} (of sittings begun, finished, removed)",
        f"key: {_key(study)}",
        f"room: {_room(study) or 'nothing is noted; listening room'}",
    ]
    return [*lines, f"{KEY_BESIDE}: {study.sealed}"] if study.key_lies_beside else lines


def _key(study: Study) -> str:
    """Where the key is, as far as this machine shows; never what it says."""
    if study.sealed_key.is_file():
        return "sealed under the keyholder’s pass phrase"
    return "open, no pass phrase" if study.key.is_file() else "not on this machine"


def _room(study: Study) -> str:
    return Room.load(study.room).told() if study.room.is_file() else ""


def _head(study: Study) -> str:
    from listening.store import open_store, place_of

    store = open_store(place_of(study), create=False)
    try:
        return head_code.code(store.ledger_head())
    finally:
        store.close()


def _remarks(found: list[Row]) -> list[str]:
    """What the assistant should know: who was not sure what is meant, and why plays did not count."""
    lines = []
    for row in found:
        if row.not_sure:
            lines.append(f"  {row.listener:<18} was not sure what is meant by: {', '.join(row.not_sure)}")
        lines += [f"  {row.listener:<18} called for help at {at} UTC" for at in row.calls]
        lines += [f"  {row.listener:<18} a play did not count: {reason}" for reason in row.void_reasons]
    return lines


def _hearing(found: list[Row]) -> list[str]:
    """Each listener's hearing check on a line, if anybody had one."""
    lines = [f"  {r.listener:<18} {'; '.join(r.hearing)}" for r in found if r.hearing]
    head = "hearing checks (a screening, no medical test; only the ears against each other, and repeats):"
    return [head, *lines] if lines else []
