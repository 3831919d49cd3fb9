"""`listening withdraw`: remove all of a listener's answers, beyond recovery."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from listening.console import show
from listening.errors import ListeningError
from listening.records.form import write_text
from listening.records.study import Study
from listening.records.text import read_text

NOTICE = (
    '<p role="alert" style="border:3px solid;padding:1em;font-weight:bold">Out of date: a listener withdrew '
    "on {day}, after this page was made. Run analyse and report again before using it.</p>"
)


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder")
    parser.add_argument("listener", help="the listener's code")
    parser.add_argument("--yes", action="store_true", help="do it; without this nothing is removed")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Remove, and say which reports are out of date."""
    from listening.store import open_store, place_of

    study = Study(args.folder)
    if not args.yes:
        raise ListeningError(
            f"this removes every answer of {args.listener} and cannot be undone; add --yes to do it"
        )
    store = open_store(place_of(study), create=False)
    removed = store.withdraw(args.listener)
    store.close()
    _clean_log(study, removed)
    stale = _mark_stale(study)
    lines = [
        f"{args.listener}: {len(removed)} sitting removed; the store notes that a removal happened, not whose"
    ]
    lines += [f"out of date now: {path}" for path in stale]
    if stale:
        lines.append(f"run again: listening analyse {study.root}, listening report {study.root}")
    lines.append("copies and backups of the station folder are yours to clean")
    show.result(args, lines, {"sittings": len(removed), "stale": [str(path) for path in stale]})
    return 0


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
