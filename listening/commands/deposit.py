"""`listening deposit`: the frozen plan as one page, for a third party to keep before the data are in."""

import argparse
from datetime import UTC, datetime
from pathlib import Path

from listening.console import show
from listening.errors import StudyError
from listening.records.dealt import head_code, record
from listening.records.dealt.plan import Plan
from listening.records.forms import frozen
from listening.records.forms.form import digest_of, write_over
from listening.records.forms.frozen import Deposit, Frozen, History
from listening.records.protocols import protocol
from listening.records.sounds.manifest import Manifest
from listening.records.study import Study, open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, dealt")
    parser.add_argument("--with", dest="whom", metavar="WHOM", default="", help="who keeps the page")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="where to write (default: FOLDER/deposited.md)"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the page after checking that everything is as dealt."""
    from listening.planning import exclusion_rates
    from listening.report.page import deposit_page

    study = open_study(args.folder)
    if not study.frozen.is_file():
        raise StudyError(
            f"{study.root}: nothing is dealt yet, so nothing is fixed; run: listening deal {study.root}"
        )
    frozen.check(study)
    plan, history = Plan.load(study.plan), _history(study.history)
    heads = (record.head(record.load(study.record)), _ledger_head(study))
    chosen = protocol.load(study.protocol)
    rates = exclusion_rates.lines(exclusion_rates.of_protocol(chosen, Manifest.load(study.manifest)))
    text = deposit_page.page(chosen, plan, Frozen.load(study.frozen), history, heads=heads, rates=rates)
    path = args.out or study.root / "deposited.md"
    write_over(path, text, own=deposit_page.FIRST)
    at = datetime.now(UTC).isoformat(timespec="seconds")
    made = Deposit(
        study_digest=plan.study_digest, page_digest=digest_of(text), deposited_at=at, whom=args.whom
    )
    history.model_copy(update={"deposits": (*history.deposits, made)}).save(study.history)
    told = {
        "study": plan.study_digest,
        "page": made.page_digest,
        "history": frozen.file_digest(study.history),
        "ledger": heads[1],
    }
    entry = record.append(study.record, at=at, kind="deposited", told=told)
    lines = [
        f"page: {path}",
        f"head of the record now: {head_code.code(entry.chain)}",
        f"study hash {plan.study_digest}",
        f"hash of the page {made.page_digest}, noted in {study.history}",
        "give the page to somebody who does not work on the study, and let them sign and date it",
    ]
    told = {"page": str(path), "head": head_code.code(entry.chain), **made.model_dump()}
    show.result(args, lines, told)
    return 0


def _ledger_head(study: Study) -> str:
    """Where the store's ledger ends; empty before anybody sat."""
    from listening.store import open_store, place_of

    if not (study.answers.exists() or study.server.exists()):
        return ""
    store = open_store(place_of(study), create=False)
    try:
        return store.ledger_head()
    finally:
        store.close()


def _history(path: Path) -> History:
    return History.load(path) if path.is_file() else History()
