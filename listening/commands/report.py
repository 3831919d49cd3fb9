"""`listening report`: the page from the findings."""

import argparse
from pathlib import Path

from listening.commands import show
from listening.records.findings import Findings
from listening.records.form import write_text
from listening.records.study import open_study


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    parser.add_argument("--no-sounds", action="store_true", help="leave the playable stimuli out of the page")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Write the page and say where it is."""
    from listening.report import page, sheet

    study = open_study(args.folder)
    found = Findings.load(study.findings)
    text = page.render(found, stimuli=None if args.no_sounds else study.stimuli)
    write_text(study.page, text)
    claims = study.report / "claims.html"
    write_text(claims, sheet.render(found))
    lines = [
        f"what may be printed, on one sheet: {claims}",
        f"{len(found.questions)} verdicts on one page, {len(text) / 1e6:.1f} MB: {study.page}",
    ]
    data = {"page": str(study.page), "bytes": len(text.encode()), "claims": str(claims)}
    show.result(args, lines, data)
    return 0
