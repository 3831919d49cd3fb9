"""`listening analyse`: open the key, fit, and decide the planned questions."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import passphrase, progress, show
from listening.records.study import open_study

if TYPE_CHECKING:
    from listening.records.found.findings import Findings


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("folder", type=Path, help="study folder with answers in its station")
    parser.add_argument(
        "--interim",
        action="store_true",
        help="look before the planned end, logged: at counts, or at verdicts if planned",
    )
    parser.add_argument(
        "--closed", metavar="WHY", default="", help="why no more listeners come, where fewer are enough"
    )
    passphrase.option(parser)
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Analyse, write findings.json, and print the verdicts with what may be said."""
    study = passphrase.of(open_study(args.folder), args)
    from listening.analysis import (
        full_analysis as analysis,  # slow to load: a slip in the folder is told before
    )
    from listening.report.sentences import ratio_sentences, sentences
    from listening.store.store import utc_now

    with progress.bar("questions") as on_progress:
        found = analysis.run(
            study, now=utc_now, interim=args.interim, closed=args.closed, on_progress=on_progress
        )
    lines = [*_head(found), ""]
    for question in found.questions:
        lines += [
            f"{question.word.upper():<13} {question.id}",
            f"  {sentences.printable(question, found)}",
            *([f"  {ratio_sentences.printable(question, found)}"] if question.claimed_ratio else []),
            "",
        ]
    for named in found.superlatives:
        lines += [f"{named.word.upper():<13} {named.id}", f"  {sentences.superlative(named, found)}", ""]
    lines += [
        f"findings: {study.findings}; the opening of the key is logged in {study.sealed}",
        f"next: listening report {study.root}",
    ]
    show.result(args, lines, found.model_dump(mode="json"))
    return 0


def _head(found: "Findings") -> list[str]:
    panel = found.panel
    lines = [f"{panel.n_listeners} listeners, {panel.n_answers} counted answers, {panel.n_excluded} excluded"]
    if found.looks is not None and not found.looks.at_end:
        what = "INTERIM look at counts alone" if found.looks.counts_only else "INTERIM look"
        lines.append(
            f"{what}: {found.looks.finished} of {found.looks.planned} listeners finished, "
            f"{len(found.looks.earlier)} earlier looks at answers; it is logged and will be reported"
        )
    if found.simulated:
        lines.insert(0, "SIMULATED panel: nobody listened, nothing here may be claimed")
    return lines
