"""A whole copy held against the findings: every sentence by itself, forms of several sentences as one."""

from collections.abc import Sequence
from pathlib import Path

from listening.report.claims import canonical, copy_text, draft_check
from listening.report.claims.draft_check import Check, Judgement


def judge(path: Path, check: Check) -> list[Judgement]:
    """What each sentence of a copy is, in the order of the copy.

    Raises
    ------
    RecordError
        The file cannot be read.
    """
    return [judged for text in copy_text.paragraphs(path) for judged in of_paragraph(text, check)]


def of_paragraph(text: str, check: Check) -> list[Judgement]:
    """A paragraph's sentences; where several in a row are one printable form, they are judged as one."""
    sentences = copy_text.sentences(text)
    longest = max((len(copy_text.sentences(form.text)) for form in check.forms), default=1)
    judged, at = [], 0
    while at < len(sentences):
        taken = _longest_form(sentences[at : at + longest], check)
        judged.append(draft_check.judge(" ".join(sentences[at : at + taken]), check))
        at += taken
    return [one for one in judged if any(word.isalnum() for word in canonical.shown(one.draft))]


def _longest_form(sentences: Sequence[str], check: Check) -> int:
    """How many of the next sentences make one form; one where none does."""
    return next(
        (n for n in range(len(sentences), 1, -1) if check.form_of(" ".join(sentences[:n])) is not None), 1
    )
