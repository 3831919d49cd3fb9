"""What the record of a study and its store's ledger tell of the time before an analysis."""

from collections.abc import Sequence
from typing import Any

from listening.records.dealt import record
from listening.records.dealt.amendment import Amendment
from listening.records.dealt.plan import Plan
from listening.records.dealt.record import Entry
from listening.records.forms import frozen
from listening.records.found.findings import Findings
from listening.records.found.findings_study import Dealt, EarlierAnalysis, Removal, StudyRecord
from listening.records.study import Study
from listening.store import chain
from listening.store.walk import Entry as LedgerEntry
from listening.store.walk import Walked


def seen(walked: Walked, *, answers: str, finished: int, sittings: Sequence[Any], key: str) -> dict[str, Any]:
    """What an opening writes into the record of the store that it read."""
    return {
        "answers": answers,
        "finished": finished,
        "ledger": walked.head,
        "n_ledger": len(walked.ledger),
        "heads": dict(sorted(walked.heads.items())),
        "human": sum(not sitting.simulated for sitting in sittings),
        "simulated": sum(sitting.simulated for sitting in sittings),
        "unchained": len(walked.unchained),
        "key": key,
    }


def of_opening(
    entries: Sequence[Entry], ledger: Sequence[LedgerEntry], plan: Plan, *, key_beside: int
) -> StudyRecord:
    """What is to be told at the opening that is the last of `entries`, whatever came after it.

    Parameters
    ----------
    key_beside : how many sittings saw the open key beside their station
    """
    now = entries[-1]
    before = entries[:-1]
    told = now.told
    until = [entry for entry in ledger if entry.n <= told["n_ledger"]]
    return StudyRecord(
        is_chained=plan.is_chained,
        head=now.chain,
        ledger=told["ledger"],
        openings=sum(entry.kind == "opening" for entry in before),
        analyses=tuple(_analysis(entry, told["answers"]) for entry in before if entry.kind == "analysis"),
        removals=tuple(_removals(before, until)),
        replaced=_replaced(until),
        deals=tuple(
            Dealt(
                at=entry.at,
                study=entry.told["study"],
                version=entry.told["version"],
                reason=entry.told["reason"],
                after_analyses=_analyses(before[: entry.n - 1]),
            )
            for entry in before
            if entry.kind == "dealt"
        ),
        amendments=tuple(_amendments(before)),
        apart=told.get("apart", 0),
        n_human=told["human"],
        n_simulated=told["simulated"],
        key=told["key"],
        key_beside=key_beside,
        anybody_can_deal_again=plan.open_seed is not None,
        unchained=told["unchained"],
    )


def write_analysis(study: Study, found: Findings, *, at: str) -> None:
    """Write the findings' hash and words into the record: no later analysis can pass over this one."""
    told = {
        "study": found.digests.study,
        "opening": found.record.head if found.record else "",
        "answers": found.digests.answers,
        "finished": found.looks.finished if found.looks else found.panel.n_listeners,
        "at_end": found.looks is None or found.looks.at_end,
        "findings": frozen.file_digest(study.findings),
        "words": {q.id: q.word for q in found.questions} | {s.id: s.word for s in found.superlatives},
        "simulated": found.simulated,
    }
    record.append(study.record, at=at, kind="analysis", told=told)


def _analysis(entry: Entry, answers: str) -> EarlierAnalysis:
    told = entry.told
    return EarlierAnalysis(
        at=entry.at,
        finished=told["finished"],
        at_end=told["at_end"],
        other_answers=told["answers"] != answers,
        answers=told["answers"],
        words=told["words"],
    )


def _removals(before: Sequence[Entry], ledger: Sequence[LedgerEntry]) -> list[Removal]:
    """Each removal, and how many analyses had read the store before it."""
    openings = {entry.chain: entry.told["n_ledger"] for entry in before if entry.kind == "opening"}
    read = [openings.get(entry.told["opening"], 0) for entry in before if entry.kind == "analysis"]
    return [
        Removal(at=row.at, after_analyses=sum(n < row.n for n in read))
        for row in ledger
        if row.kind == chain.REMOVED
    ]


def _amendments(before: Sequence[Entry]) -> list[Amendment]:
    """Of the deal at hand; one made again after a cut counts once, as it was made at last."""
    dealt = max((entry.n for entry in before if entry.kind == "dealt"), default=0)
    told = [entry.told for entry in before if entry.kind == "amended" and entry.n > dealt]
    last = {one["number"]: one for one in told}
    names = Amendment.model_fields
    return [
        Amendment.model_validate(
            {**{k: v for k, v in one.items() if k in names}, "study_digest": one["study"]}
        )
        for one in last.values()
    ]


def _analyses(entries: Sequence[Entry]) -> int:
    return sum(entry.kind == "analysis" for entry in entries)


def _replaced(ledger: Sequence[LedgerEntry]) -> int:
    released = {row.sitting for row in ledger if row.kind == chain.RELEASED}
    begun = [row for row in ledger if row.kind == chain.BEGAN and row.sitting not in released]
    slots = [row.detail.split(" row ")[0] for row in begun]
    return len(slots) - len(set(slots))
