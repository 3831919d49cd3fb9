"""`listening claim`: hold a draft sentence against the findings of a study."""

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

from listening.commands import show
from listening.records.findings import Findings
from listening.records.study import open_analysed

if TYPE_CHECKING:
    from listening.report.claims import Judgement


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("draft", help="the sentence, in quotes")
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the draft; exit code 0 where it is borne, 1 where it is not, or is not judged."""
    from listening.report import claims, sentences

    found = Findings.load(open_analysed(args.folder).findings)
    judged = claims.judge(args.draft, found)
    lines = [judged.ruling.upper(), *_reasons(judged)]
    if judged.question is not None:
        question = found.question(judged.question)
        lines += [
            f"planned question: {question.id} ({question.word})",
            f"what it bears: {sentences.printable(question, found)}",
            f"footnote: {sentences.footnote(question, found)}",
        ]
    show.result(args, [*lines, claims.LIMITS], {**dataclasses.asdict(judged), "limits": claims.LIMITS})
    return 0 if judged.ruling == "borne" else 1


def _reasons(judged: "Judgement") -> list[str]:
    lines = [f"  not borne: “{part.part}”: {part.why}" for part in judged.unsupported]
    if judged.unknown:
        lines.append(f"  words no pattern knows: {', '.join(judged.unknown)}")
    if judged.ruling == "not judged" and not judged.unknown:
        lines.append("  no comparison of two tested conditions was recognised")
    return lines
