"""`listening report`: the page from the findings."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from listening.commands.report import report_pdf
from listening.console import show
from listening.records.form import write_bytes, write_text
from listening.records.study import Study, open_analysed

if TYPE_CHECKING:
    from listening.records.findings import Findings


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("--no-sounds", action="store_true", help="leave the playable stimuli out of the page")
    parser.add_argument(
        "--pdf", action="store_true", help="also as PDF, without sounds (pip install 'listening[pdf]')"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the page and say where it is."""
    study = open_analysed(args.folder)
    from listening.records.findings import Findings  # slow to load: a slip in the folder is told before
    from listening.report.page import claims_sheet as sheet

    found = Findings.load(study.findings)
    text = render(study, found, with_sounds=not args.no_sounds)
    pdf = report_pdf.of(render(study, found, with_sounds=False)) if args.pdf else b""
    write_text(study.page, text)
    claims = claims_sheet(study)
    write_text(claims, sheet.render(found))
    lines = [
        f"what may be printed, on one sheet: {claims}",
        f"{len(found.questions)} verdicts on one page, {len(text) / 1e6:.1f} MB: {study.page}",
    ]
    data: dict[str, object] = {"page": str(study.page), "bytes": len(text.encode()), "claims": str(claims)}
    if pdf:
        write_bytes(study.page.with_suffix(".pdf"), pdf)
        data["pdf"] = str(study.page.with_suffix(".pdf"))
        lines.append(f"for paper: {data['pdf']}")
    show.result(args, lines, data)
    return 0


def claims_sheet(study: Study) -> Path:
    """Where the sheet for those who print lies."""
    return study.report / "claims.html"


def render(study: Study, found: "Findings", *, with_sounds: bool) -> str:
    """The page of a study: findings, curves that `measure` kept, and (unless left out) sounds."""
    from listening.records.measured import Measures
    from listening.report.figures import strike_curves
    from listening.report.page import page

    strokes = []
    if study.measures.is_file():
        strokes = strike_curves.load(study.traces, Measures.load(study.measures), found)
    return page.render(found, stimuli=study.stimuli if with_sounds else None, strokes=strokes)
