"""`listening claim`: hold a draft sentence, or a whole copy, against the findings of a study."""

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from listening.console import show
from listening.errors import ListeningError
from listening.records.found.findings import Findings
from listening.records.study import open_analysed

if TYPE_CHECKING:
    from listening.report.claims.draft_check import Check, Judgement

MARKS = {"supported": "+", "not supported": "x", "not judged": "."}


class NoDraft(ListeningError, ValueError):
    """Neither a draft nor a copy was given, or both."""


def arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the command's words."""
    parser.add_argument("draft", nargs="?", help="the sentence, in quotes")
    parser.add_argument("folder", type=Path, metavar="STUDY", help="study folder, analysed")
    parser.add_argument(
        "--file", type=Path, metavar="COPY", help="check every sentence of a copy: .txt, .md, .html or .docx"
    )
    show.json_option(parser)


def run(args: argparse.Namespace) -> int:
    """Judge the draft: exit code 0 where it is supported. A copy: 1 where a sentence is not supported."""
    from listening.report.claims import draft_check, whole_copy

    if (args.draft is None) == (args.file is None):
        raise NoDraft("found neither or both, wanted one: a draft in quotes, or --file COPY; then the study")
    check = draft_check.of(Findings.load(open_analysed(args.folder).findings))
    if args.file is not None:
        judged = whole_copy.judge(args.file, check)
        lines, passes = list(_of_copy(judged)), all(one.word != "not supported" for one in judged)
    else:
        judged = [draft_check.judge(_text(args.draft), check)]
        lines, passes = list(_of_draft(judged[0], check)), judged[0].word == "supported"
    show.result(args, [*lines, draft_check.LIMITS], [one.as_json() for one in judged])
    return 0 if passes else 1


def _text(draft: str) -> str:
    """The draft without bytes that are no text."""
    return draft.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _of_draft(judged: "Judgement", check: "Check") -> Iterator[str]:
    """The word, the nearest sentence with what differs, and its footnote."""
    yield _word(judged)
    yield from (f"  {line}" for line in judged.why)
    if judged.question:
        yield f"planned: {judged.question}"
    yield from _nearest(judged)
    if judged.nearest or judged.had_people_listened == "supported":
        yield from _footnote(judged, check)


def _of_copy(judged: Sequence["Judgement"]) -> Iterator[str]:
    """Each sentence with its mark; what is not supported with the nearest sentence."""
    from listening.report.claims import canonical

    for one in judged:
        yield f"[{MARKS[one.word]}] {canonical.shown(one.draft)}"
        if one.word == "not supported":
            yield from (f"    {line}" for line in one.why)
            yield from (f"    {line}" for line in _nearest(one))
    counts = Counter(one.word for one in judged)
    yield (
        f"{len(judged)} sentences: {counts['supported']} supported [+], {counts['not supported']} not "
        f"supported [x], {counts['not judged']} not judged [.]: these say nothing that the check takes for a "
        "claim; read them yourself"
    )


def _word(judged: "Judgement") -> str:
    if judged.had_people_listened == judged.word:
        return judged.word.upper()
    had = f"had people answered as this simulated panel did: {judged.had_people_listened}"
    return f"{judged.word.upper()} ({had})"


def _nearest(judged: "Judgement") -> Iterator[str]:
    from listening.report.claims import canonical, nearest

    if not judged.nearest:
        return
    first, *others = (canonical.shown(text) for text in judged.nearest)
    yield f"nearest: {first}"
    yield f"differs: {nearest.marked(judged.draft, first)}"
    yield from (f"or: {text}" for text in others)


def _footnote(judged: "Judgement", check: "Check") -> Iterator[str]:
    for form in check.forms:
        if form.question == judged.question and form.use == "footnote":
            yield f"footnote: {form.text}"
            return
