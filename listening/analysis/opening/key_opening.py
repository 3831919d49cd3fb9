"""A look at the answers: the key opened, the look logged, the answers read."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from listening.analysis.collect import keyed_answers, listener_answers, remarks
from listening.analysis.collect.keyed_answers import Columns
from listening.analysis.opening import dealt_answers, looks, sealed_key, stage_ends, told_record
from listening.analysis.opening.looks import Look
from listening.analysis.opening.sealed_key import Opened
from listening.errors import StudyError
from listening.records.dealt import record
from listening.records.dealt.plan import Plan
from listening.records.forms.frozen import History
from listening.records.found.findings_study import Fixed, Remark, RoomNoted, StudyRecord
from listening.records.protocols.sessions import MISSED
from listening.records.study import KEY_BESIDE, Study
from listening.store import SittingRow, Store, chain, open_store, place_of, walk
from listening.store.removal import REMOVAL

NAMED = 10  # so many faults are named before the rest is counted


@dataclass(frozen=True)
class Taken:
    """A dealt study, open, with its answers so far."""

    opened: Opened
    look: Look
    answers: Columns
    """See `collect.as_columns`."""
    n_unfinished: int
    record: StudyRecord
    days: tuple[str, ...]
    """On which people finished a sitting (UTC), as 2026-11-25."""
    own: listener_answers.Own = field(default_factory=dict)
    """What each listener said in the questionnaire, and their hearing check."""
    said: tuple[Remark, ...] = ()
    rooms: tuple[RoomNoted, ...] = ()


def look(
    study: Study,
    *,
    now: Callable[[], str],
    interim: bool = False,
    closed: str = "",
    why: str = "",
    only_answers: str = "",
) -> Taken:
    """The answers of a study at its planned end, or before it where that was asked for.

    Parameters
    ----------
    interim : look before the planned end; logged and counted
    closed : why no more listeners come, where the stopping rule lets fewer than planned be enough
    why : for a step that shows no decided number, its name for the log; such a look spends nothing
    only_answers : hash of the answers that were looked at before; others would be another look

    Raises
    ------
    StudyError
        Something is not what was dealt or written down, an answer is none that the plan asked for, simulated
        and human sittings are mixed, the planned end is not reached, or it was analysed before with fewer.
    """
    opened = sealed_key.checked(study)
    store = open_store(place_of(study), create=False)
    try:
        return _look(study, opened, store, _Asked(now, interim, closed, why, only_answers))
    finally:
        store.close()


@dataclass(frozen=True)
class _Asked:
    """How a look was asked for; see `look`."""

    now: Callable[[], str]
    interim: bool
    closed: str
    why: str
    only_answers: str


def _look(study: Study, opened: Opened, store: Store, asked: _Asked) -> Taken:
    every = store.sittings()
    sittings = [row for row in every if opened.plan.is_same_wording(row.study_digest)]
    walked = walk.walk(store, is_chained=opened.plan.is_chained)
    events = store.events()
    withdrawn = sum(event.kind == REMOVAL for event in events)
    _of_this_deal(study, opened.plan, every)
    _of_one_kind(study, every)
    _as_written(study, walked)
    stored = store.answer_columns()
    dealt_answers.check(stored, opened.plan, str(place_of(study)))
    answers = _of_sittings(stored, {row.id for row in sittings})
    missed = {event.sitting for event in events if event.kind == MISSED}
    done = [row for row in sittings if row.finished_at is not None or row.id in missed]
    finished = stage_ends.counted(opened.plan, [row.slot for row in done])
    stage_ends.check(study, opened.plan, stored, [row.slot for row in done])
    digest = opened.plan.study_digest
    seen = keyed_answers.digest(answers)
    _only_these(study, seen, asked.only_answers)
    at = looks.look(
        study,
        digest,
        opened.protocol,
        finished=finished,
        withdrawn=withdrawn,
        answers=seen,
        interim=asked.interim,
        closed=asked.closed,
        before=opened.plan.same_question[:-1],
    )
    said = f"{asked.why}, study {digest[:16]}" if asked.why else at.line(digest, opened.protocol.stopping)
    told = told_record.seen(
        walked, answers=seen, finished=finished, sittings=sittings, key=sealed_key.how_kept(study)
    )
    told["marked"] = store.marks_openings
    told["apart"] = len(every) - len(sittings)
    _mark_what_a_crash_left(study, store, walked)
    entry = sealed_key.note(study, said, at=asked.now(), told=told)
    store.mark_opened(entry.chain)
    beside = {event.sitting for event in events if event.detail == KEY_BESIDE}
    until = record.load(study.record)[: entry.n]
    known = told_record.of_opening(until, walked.ledger, opened.plan, key_beside=len(beside))
    return Taken(
        opened,
        at,
        answers,
        n_unfinished=len(sittings) - len(done),
        record=known,
        days=_days(sittings),
        own=listener_answers.of_events(sittings, events),
        said=remarks.of_listeners(opened.plan, sittings, events),
        rooms=remarks.of_rooms(sittings, events),
    )


def _only_these(study: Study, seen: str, wanted: str) -> None:
    """Refuse answers other than those of a look before the end; `wanted` empty: any."""
    if wanted and seen != wanted:
        raise StudyError(
            f"{study.findings}: more was answered or taken out since that look before the end; take another "
            f"look: listening analyse {study.root} --interim"
        )


def _days(sittings: Sequence[SittingRow]) -> tuple[str, ...]:
    """On which days (UTC) people finished."""
    finished_at = (sitting.finished_at for sitting in sittings if not sitting.simulated)
    return tuple(at_utc[:10] for at_utc in finished_at if at_utc is not None)


def _of_sittings(answers: Columns, kept: set[str]) -> Columns:
    """The answers of these sittings; those of another wording stand apart."""
    if kept >= set(answers["sitting"]):
        return answers
    rows = [i for i, sitting in enumerate(answers["sitting"]) if sitting in kept]
    return {name: [cells[i] for i in rows] for name, cells in answers.items()}


def _mark_what_a_crash_left(study: Study, store: Store, walked: walk.Walked) -> None:
    """An opening that stands in the record, and was cut off before the store had it."""
    marked = {row.detail for row in walked.ledger if row.kind == chain.OPENED}
    entries = record.load(study.record)
    dealt = max((entry.n for entry in entries if entry.kind == "dealt"), default=0)
    for entry in entries[dealt:]:
        if entry.told.get("marked") and entry.chain not in marked:
            store.mark_opened(entry.chain)


def _of_one_kind(study: Study, sittings: Sequence[SittingRow]) -> None:
    """People and simulated listeners never stand in one study."""
    simulated = sorted(s.listener for s in sittings if s.simulated)
    n_human = len(sittings) - len(simulated)
    if simulated and n_human:
        more = f" and {len(simulated) - 3} more" if len(simulated) > 3 else ""
        raise StudyError(
            f"{place_of(study)}: {len(simulated)} simulated listeners ({', '.join(simulated[:3])}{more}) "
            f"stand among {n_human} people; remove each of them with: listening withdraw {study.root} "
            f"{simulated[0]} --yes. Nothing was analysed"
        )


def _as_written(study: Study, walked: walk.Walked) -> None:
    """Every answer and event hangs in its chain, and the record of the study in its own."""
    place = place_of(study)
    found = [*(f"{place}: {fault}" for fault in walked.faults), *record.faults(study.record)]
    if found:
        more = f"\nand {len(found) - NAMED} more" if len(found) > NAMED else ""
        raise StudyError(
            "\n".join(found[:NAMED]) + f"{more}\nput back a copy that is whole, or remove the listener whose "
            f"answers these are (listening withdraw); all of it: listening verify {study.root}. Nothing was "
            "analysed"
        )


def _of_this_deal(study: Study, plan: Plan, sittings: Sequence[SittingRow]) -> None:
    """Each sitting was begun under this plan: another one, however whole, is not what the listeners met."""
    strange = sorted({s.listener for s in sittings if s.study_digest not in plan.digests})
    if strange:
        more = f" and {len(strange) - 3} more" if len(strange) > 3 else ""
        raise StudyError(
            f"{study.plan}: {', '.join(strange[:3])}{more} sat under another plan than this one (hash "
            f"{plan.study_digest[:16]}); restore the plan, protocol and key that were dealt. Nothing was "
            "analysed"
        )


def fixed(study: Study, plan: Plan) -> Fixed:
    """When the study was dealt, which version it is and why, and whether it was deposited."""
    history = History.load(study.history) if study.history.is_file() else History()
    version, deposit = history.version(plan.dealt_digest), history.deposited(plan.study_digest)
    return Fixed(
        dealt_at=plan.dealt_at,
        study_version=plan.study_version,
        reason=version.reason if version else "",
        deposited_at=deposit.deposited_at if deposit else "",
        deposited_with=deposit.whom if deposit else "",
        page_digest=deposit.page_digest if deposit else "",
    )
