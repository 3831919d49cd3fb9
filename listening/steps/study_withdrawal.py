"""A withdrawal: a listener's answers go from every place of a study, and each place that is left is named."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from listening.design import versions
from listening.errors import StudyError
from listening.records.forms.form import write_text
from listening.records.forms.text import read_text
from listening.records.study import Study
from listening.store import open_store, place_of
from listening.store.spool import Spool

NOTICE = (
    '<p role="alert" style="border:3px solid;padding:1em;font-weight:bold">Out of date: a listener withdrew '
    "on {day}, after this page was made. Run analyse and report again before using it.</p>"
)
SOUNDS = {".wav", ".flac", ".npz"}  # nothing in them comes from a listener
LARGEST_BYTES = 500_000_000
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
            done.stale += _mark_stale(deal)
    for path in _holding(study.root, [listener, *done.sittings]):
        _drop_or_name(study, path, done)
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


def _holding(root: Path, words: list[str]) -> Iterator[Path]:
    """Files below `root` in which one of the words stands as a whole word."""
    said = b"|".join(re.escape(word.encode()) for word in words)
    pattern = re.compile(rb"(?<![A-Za-z0-9_-])(?:" + said + rb")(?![A-Za-z0-9_-])")
    for path in sorted(root.rglob("*")):
        if path.suffix in SOUNDS or path.is_symlink() or not path.is_file():
            continue
        if path.suffix == ".parquet" or (
            path.stat().st_size <= LARGEST_BYTES and pattern.search(path.read_bytes())
        ):
            yield path


def _drop_or_name(study: Study, path: Path, done: Withdrawn) -> None:
    """Tables that were exported can be made again: they go. Everything else is named."""
    deal = next((p for p in path.parents if p.parent == study.versions), study.root)
    if path.is_relative_to(deal / TABLES):
        path.unlink()
        done.removed.append(path)
    elif path.name.startswith("answers.sqlite") or path.name.startswith("spool.sqlite"):
        done.left.append(
            f"{path}: another program has the store open and keeps old pages; close it, then withdraw again"
        )
    elif path in done.stale or path.name == "findings.json" or path.parent.name == "report":
        done.left.append(
            f"{path}: names the listener; run: listening analyse {deal}, then listening report {deal}, or "
            "delete it"
        )
    else:
        done.left.append(f"{path}: names the listener; look into it, and delete what is theirs")


def _clean_log(study: Study, removed: list[str]) -> None:
    if study.log.is_file() and study.log.stat().st_size:
        kept = [line for line in read_text(study.log).splitlines() if not any(i in line for i in removed)]
        write_text(study.log, "".join(f"{line}\n" for line in kept))


def _mark_stale(study: Study) -> list[Path]:
    """What was made with the removed answers: findings, pages, paper. Every page says so on top."""
    notice = NOTICE.format(day=datetime.now(UTC).date().isoformat())
    pages = sorted(study.report.glob("*.html"))
    for path in pages:
        page = read_text(path)
        start = page.find(">", page.find("<body")) + 1
        write_text(path, page[:start] + notice + page[start:])
    findings = [study.findings] if study.findings.is_file() else []
    return [*findings, *pages, *sorted(study.report.glob("*.pdf"))]
