"""`listening claim`: hold a draft sentence against the findings of a study."""

import argparse
import dataclasses
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import show
from listening.records.findings import Findings
from listening.records.study import open_analysed

if TYPE_CHECKING:
    from listening.report.claims.draft_check import Judgement


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("draft", help="the sentence, in quotes")
    parser.add_argument("folder", type=Path, help="study folder, analysed")
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the draft; exit code 0 where it is supported, 1 where it is not, or is not judged."""
    from listening.report.claims import draft_check

    found = Findings.load(open_analysed(args.folder).findings)
    judged = draft_check.judge(args.draft, found)
    lines = [_ruling(judged), *_reasons(judged), *_planned(judged, found)]
    show.result(
        args, [*lines, draft_check.LIMITS], {**dataclasses.asdict(judged), "limits": draft_check.LIMITS}
    )
    return 0 if judged.ruling == "supported" else 1


def _ruling(judged: "Judgement") -> str:
    otherwise = judged.had_people_listened
    if otherwise is None:
        return judged.ruling.upper()
    return f"{judged.ruling.upper()} (had people answered as this simulated panel did: {otherwise})"


def _reasons(judged: "Judgement") -> list[str]:
    lines = [f"  leave out “{part.part}”: {part.why}" for part in judged.unsupported]
    if judged.unknown:
        lines.append(f"  this check does not know: {', '.join(judged.unknown)}")
    if judged.question is None and not judged.unknown:
        lines.append("  no comparison of two tested conditions was recognised")
    return lines


def _planned(judged: "Judgement", found: Findings) -> list[str]:
    """The planned question or superlative that the draft is about, with the sentence that it bears."""
    from listening.report.sentences import ratio_sentences, sentences

    for s in found.superlatives:
        if s.id == judged.question:
            return [
                f"planned: {s.id} ({s.word})",
                f"what can be said: {sentences.superlative(s, found)}",
                f"footnote: {sentences.superlative_footnote(s, found)}",
            ]
    if judged.question is None:
        return []
    q = found.question(judged.question)
    lines = [
        f"planned: {q.id} ({q.word})",
        f"what can be said: {sentences.printable(q, found)}",
        f"footnote: {sentences.footnote(q, found)}",
    ]
    if q.factor is not None:
        lines.append(f"planned factor ({q.factor.word}): {ratio_sentences.printable(q, found)}")
    return lines
