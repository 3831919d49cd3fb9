"""A withdrawal: a listener's answers go from every place of a study, and each place that is left is named."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from listening.design import versions
from listening.errors import StudyError
from listening.records.forms.form import write_text
from listening.records.forms.text import read_text
from listening.records.study import Study
from listening.steps import listener_search
from listening.steps.listener_search import Found
from listening.store import open_store, place_of
from listening.store.spool import Spool

NOTICE = (
    '<p role="alert" style="border:3px solid;padding:1em;font-weight:bold">Out of date: a listener withdrew '
    "on {day}, after this page was made. Run analyse and report again before using it.</p>"
)
TABLES = "export"


@dataclass
class Withdrawn:
    """What a withdrawal did."""

    sittings: list[str] = field(default_factory=list)
    """Ids of the sittings that went."""
    removed: list[Path] = field(default_factory=list)
    """Files that were made of them and can be made again."""
    stale: list[Path] = field(default_factory=list)
    """What was decided with the removed answers: out of date now."""
    left: list[str] = field(default_factory=list)
    """Where something of the listener still is, and who must do what."""


def withdraw(study: Study, listener: str) -> Withdrawn:
    """Remove a listener from the study, its earlier deals, its exported tables and this station's spool.

    Done again, it says what is still left.

    Raises
    ------
    StudyError
        There is no such listener, nor anything of that code.
    """
    done = Withdrawn()
    deals = [study, *(Study(study.versions / str(n)) for n in versions.numbers(study))]
    for deal in deals:
        _from_store(deal, listener, done)
    if done.sittings:
        for deal in deals:
            _clean_log(deal, done.sittings)
            _drop_locks(deal, done.sittings)
            done.stale += _mark_stale(deal)
    for found in listener_search.holding(study.root, [listener, *done.sittings]):
        _drop_or_name(study, found, done)
    if not done.sittings and not done.left and not done.removed:
        raise StudyError(
            f"{study.root}: no listener {listener}, and nothing of that code in the folder; look at the "
            f"codes with: listening desk {study.root}"
        )
    return done


def _from_store(deal: Study, listener: str, done: Withdrawn) -> None:
    if not (deal.answers.is_file() or deal.server.exists()):
        return
    store = open_store(place_of(deal), create=False)
    try:
        is_there = any(row.listener == listener for row in store.sittings())
        if is_there:
            done.sittings += store.withdraw(listener)
        done.left += store.forget(just_removed=is_there)
    finally:
        store.close()
    if deal.spool.is_file() and done.sittings:
        spool = Spool(deal.spool)
        spool.forget(done.sittings)
        spool.close()


def _drop_or_name(study: Study, found: Found, done: Withdrawn) -> None:
    """What was made of the answers and can be made again goes; everything else is named."""
    path = found.path
    deal = next((p for p in path.parents if p.parent == study.versions), study.root)
    own = Study(deal)
    if path.is_relative_to(deal / TABLES) or (path.parent == own.report and path.suffix == ".pdf"):
        path.unlink()
        done.removed.append(path)
        done.stale = [one for one in done.stale if one != path]
    elif path in _stores(own):
        done.left.append(
            f"{path}: another program has the store open and keeps old pages; close it, then withdraw again"
        )
    elif found.is_closed:
        done.left.append(
            f"{path}: cannot be searched; look into it, and delete it, or move it out of the study folder if "
            "nothing of theirs is in it"
        )
    elif found.is_store:
        done.left.append(f"{path}: a copy of the answers, with theirs; delete it")
    elif path in done.stale or path.name == "findings.json" or path.parent.name == "report":
        done.left.append(
            f"{path}: names the listener; run: listening analyse {deal}, then listening report {deal}, or "
            "delete it"
        )
    else:
        done.left.append(f"{path}: names the listener; look into it, and delete what is theirs")


def _stores(deal: Study) -> list[Path]:
    """The files of a deal's answers and of its spool, logs included."""
    ends = ("", "-wal", "-shm", "-journal")
    return [path.with_name(path.name + end) for path in (deal.answers, deal.spool) for end in ends]


def _clean_log(study: Study, removed: list[str]) -> None:
    if study.log.is_file() and study.log.stat().st_size:
        kept = [line for line in read_text(study.log).splitlines() if not any(i in line for i in removed)]
        write_text(study.log, "".join(f"{line}\n" for line in kept))


def _drop_locks(study: Study, removed: list[str]) -> None:
    """The files that kept others from a sitting bear its id in their name."""
    for sitting in removed:
        (study.station / f"sitting-{sitting}.lock").unlink(missing_ok=True)


def _mark_stale(study: Study) -> list[Path]:
    """What was made with the removed answers: findings, pages, paper. Every page says so on top."""
    notice = NOTICE.format(day=datetime.now(UTC).date().isoformat())
    pages = sorted(study.report.glob("*.html"))
    for path in pages:
        page = read_text(path)
        start = page.find(">", page.find("<body")) + 1
        write_text(path, page[:start] + notice + page[start:])
    findings = [study.findings] if study.findings.is_file() else []
    tables = sorted(p for p in (study.root / TABLES).glob("*") if p.suffix not in (".md", ".txt"))
    return [*findings, *pages, *sorted(study.report.glob("*.pdf")), *tables]
