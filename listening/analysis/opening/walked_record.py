"""The record of a study, its store's chains and the log of openings held against each other, row by row."""

import hashlib
from collections.abc import Iterator

from listening.analysis.opening import sealed_key, told_record
from listening.analysis.opening.dealt_answers import faults as not_dealt
from listening.errors import StudyError
from listening.records.dealt import head_code, record
from listening.records.dealt.plan import Plan
from listening.records.dealt.record import Entry
from listening.records.forms import frozen
from listening.records.found.findings import Findings
from listening.records.study import Study
from listening.store import chain, open_store, place_of
from listening.store.walk import Walked, walk

TELL_HISTORY = ("dealt", "amended", "deposited", "lodged")  # `lodged`: the first name of a deposit


def faults(study: Study, found: Findings) -> list[str]:
    """One line for each row, line or file that is not what was written down."""
    plan = Plan.load(study.plan)
    entries = record.load(study.record)
    if plan.is_chained and not entries:
        return [f"{study.record}: not there: nothing tells what was done with the study; restore it"]
    store = open_store(place_of(study), create=False)
    try:
        walked, answers = walk(store, is_chained=plan.is_chained), store.answer_columns()
    finally:
        store.close()
    place = place_of(study)
    return [
        *record.faults(study.record),
        *(f"{place}: {fault}" for fault in walked.faults),
        *(f"{place}: {who}: {kind}" for kind, who in not_dealt(answers, plan)),
        *_deal(study, plan, entries),
        *_history(study, entries),
        *_log(study, entries),
        *_against_store(study, entries, walked),
        *_findings(study, plan, found, entries, walked),
        *_steps(study, entries),
    ]


def knows(study: Study, typed: str) -> str:
    """Where the hash of a code stands in the record or the store; empty where it does not.

    Parameters
    ----------
    typed : a code as a listener, a desk, a page or a deposit gave it

    Raises
    ------
    StudyError
        It is too short to be one.
    """
    wanted = head_code.plain(typed)
    if len(wanted) != head_code.CODE_LETTERS:
        raise StudyError(
            f"--head: found `{typed}` ({len(wanted)} letters), wanted the {head_code.CODE_LETTERS} letters "
            "of a code, as abcd-efgh-ijkl-mnop"
        )
    broken = bool(list(record.faults(study.record)))
    for entry in [] if broken else record.load(study.record):
        if head_code.plain(head_code.code(entry.chain)) == wanted:
            return f"line {entry.n} of {study.record.name} ({entry.kind}, {entry.at})"
    store = open_store(place_of(study), create=False)
    try:
        walked = walk(store, is_chained=Plan.load(study.plan).is_chained)
    finally:
        store.close()
    if any(head_code.plain(head_code.code(digest)) == wanted for digest in walked.hashes):
        return "the answers' chains, and every row before it is what it was then"
    return ""


def _deal(study: Study, plan: Plan, entries: list[Entry]) -> Iterator[str]:
    """The deal at hand is the last one that the record tells of."""
    dealt = [entry for entry in entries if entry.kind in ("dealt", "amended")]
    if plan.is_chained and (not dealt or dealt[-1].told["study"] != plan.study_digest):
        yield f"{study.record}: the last deal that it tells of is not that of the plan"


def _history(study: Study, entries: list[Entry]) -> Iterator[str]:
    told = [entry.told["history"] for entry in entries if entry.kind in TELL_HISTORY]
    if told and not study.history.is_file():
        yield f"{study.history}: not there: it tells of every deal and deposit; restore it"
    elif told and told[-1] != frozen.file_digest(study.history):
        yield f"{study.history}: not what was written at the last deal or deposit; restore it"


def _log(study: Study, entries: list[Entry]) -> Iterator[str]:
    """The log of openings holds what the record tells, and nothing between."""
    path = study.sealed / sealed_key.LOG
    logged = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    dealt = max((entry.n for entry in entries if entry.kind == "dealt"), default=0)
    told = [e.told["line"] for e in entries if e.kind == "opening" and e.n > dealt]
    if not dealt:  # a deal of an earlier version: the log is older than the record
        logged = logged[len(logged) - len(told) :]
    if logged != told:
        yield f"{path}: {len(logged)} openings, the record tells of {len(told)}, or others; the record stands"


def _against_store(study: Study, entries: list[Entry], walked: Walked) -> Iterator[str]:
    """The store knows of no opening that the record lacks, and still holds what each opening saw."""
    known = {entry.chain for entry in entries}
    for row in walked.ledger:
        if row.kind == chain.OPENED and row.detail not in known:
            yield f"{study.record}: the opening of {row.at}, of which the store tells, was taken out"
    dealt = max((entry.n for entry in entries if entry.kind == "dealt"), default=0)
    removed = {row.sitting for row in walked.ledger if row.kind == chain.REMOVED}
    marked = {row.detail for row in walked.ledger if row.kind == chain.OPENED}
    for entry in entries:
        if entry.kind != "opening" or entry.n < dealt:  # earlier deals have stores of their own
            continue
        if entry.told.get("marked") and entry.chain not in marked:
            yield f"{place_of(study)}: ledger: the opening of {entry.at} was taken out"
        if entry.told.get("ledger") and entry.told["ledger"] not in walked.hashes:
            yield f"{place_of(study)}: ledger: not what it was at the opening of {entry.at}"
        gone = [
            head
            for mark, head in entry.told.get("heads", {}).items()
            if head not in walked.hashes and mark not in removed
        ]
        if gone:
            yield (
                f"{place_of(study)}: {len(gone)} sittings are not what they were at the opening of "
                f"{entry.at} (line {entry.n} of {study.record.name})"
            )


def _findings(
    study: Study, plan: Plan, found: Findings, entries: list[Entry], walked: Walked
) -> Iterator[str]:
    """The findings on disk are the ones of the last analysis, and tell what the record told then."""
    analyses = [entry for entry in entries if entry.kind == "analysis"]
    if analyses and analyses[-1].told["findings"] != frozen.file_digest(study.findings):
        yield f"{study.findings}: not the file that the last analysis wrote ({analyses[-1].at})"
    if found.record is None:
        return
    place = next((e.n for e in entries if e.kind == "opening" and e.chain == found.record.head), 0)
    if not place:
        yield f"{study.record}: the opening that the findings come from was taken out"
    elif "human" in entries[place - 1].told:
        again = told_record.of_opening(
            entries[:place], walked.ledger, plan, key_beside=found.record.key_beside
        )
        if again != found.record:
            yield f"{study.findings}: what it tells of the time before is not what the record tells"


def _steps(study: Study, entries: list[Entry]) -> Iterator[str]:
    """steps.log holds what it held at the deal, and then the steps that the record tells of."""
    deal = next((entry for entry in reversed(entries) if entry.kind == "dealt"), None)
    if deal is None:
        return
    there = study.steps.read_bytes() if study.steps.is_file() else b""
    before, after = there[: deal.told["steps"]], there[deal.told["steps"] :]
    digest = hashlib.sha256(before).hexdigest() if study.steps.is_file() else ""
    told = [entry.told["line"] for entry in entries if entry.kind == "step" and entry.n > deal.n]
    if (before and digest != deal.told["steps_digest"]) or after.decode().splitlines() != told:
        yield f"{study.steps}: {len(told)} steps since the deal stand in the record, others here; restore it"
