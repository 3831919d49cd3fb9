"""A draft sentence held against a study's findings; it fails closed.

A draft is supported only if the whole of it is one of the printable forms, up to the harmless variation named
in `canonical.py` and the wordings listed in the language files. Whatever else it says, in whichever words,
signs or order, it is not: no list of forbidden words decides. The check reads no meaning, picture or context;
advertising law and counsel have the last word.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from listening.records.found.findings import Findings
from listening.report.claims import canonical, matching, nearest, reading
from listening.report.claims.nearest import Difference
from listening.report.sentences import forms, sentences
from listening.report.sentences import wordings_to_leave_out as left_out
from listening.report.sentences.form import Form
from listening.report.sentences.wordings_to_leave_out import LeftOut

Word = Literal["supported", "not supported", "not judged"]
LIMITS = (
    "Supported is only what can be printed as it stands, up to letter case, spacing, the mark at the end, "
    "numbers in words, listed synonyms and the order of clauses. The check reads no meaning, picture or "
    "context, and does not know the law: have counsel read every claim before it is printed."
)
NOBODY = "the panel was simulated: nobody listened"
ELSEWHERE = "the answers were collected elsewhere: they describe, and bear no sentence for print"


@dataclass(frozen=True)
class Judgement:
    """What the findings say to a draft."""

    draft: str
    word: Word
    had_people_listened: Word
    """The word if a simulated panel had been people; the same as `word` otherwise."""
    question: str | None
    """The planned question or superlative that the draft is, or is about."""
    nearest: tuple[str, ...]
    """Printable sentences that come nearest, nearest first; empty for a draft that is one."""
    differs: tuple[Difference, ...]
    """Word by word, against the nearest of them."""
    why: tuple[str, ...]
    """For the reader: strange signs, an open question, wordings to leave out."""

    def as_json(self) -> dict[str, Any]:
        """What `listening claim --json` prints of it."""
        return {
            "draft": self.draft,
            "word": self.word,
            "had_people_listened": self.had_people_listened,
            "question": self.question,
            "nearest": list(self.nearest),
            "differs": [{"draft": one.draft, "printable": one.printable} for one in self.differs],
        }


@dataclass(frozen=True)
class Check:
    """The findings of one study, made ready once for many drafts."""

    found: Findings
    """As if people had listened."""
    simulated: bool

    @cached_property
    def forms(self) -> tuple[Form, ...]:
        """What may be printed."""
        return forms.all_of(self.found)

    @cached_property
    def patterns(self) -> list[matching.Pattern]:
        """The same, ready to be held against drafts."""
        return matching.patterns(self.forms)

    @cached_property
    def words(self) -> reading.Vocabulary:
        """The words by which drafts are read."""
        return reading.vocabulary(self.found, self.forms)

    def form_of(self, draft: str) -> Form | None:
        """The printable form that the draft is."""
        return matching.find(draft.removeprefix(sentences.SIMULATED), self.patterns)


def of(found: Findings) -> Check:
    """The check of a study's findings."""
    return Check(found.model_copy(update={"simulated": False}), found.simulated)


def judge(draft: str, check: Check) -> Judgement:
    """What the draft is, and where it is nothing for print, what comes nearest."""
    form = check.form_of(draft)
    if form is not None and check.simulated:
        return Judgement(draft, "not supported", "supported", form.question, (), (), (NOBODY,))
    if form is not None:
        return Judgement(draft, "supported", "supported", form.question, (), (), ())
    about = reading.read(draft, check.words)
    close = nearest.find(about, draft, check.found, check.forms)
    claims = close.question is not None or reading.claims_something(draft, about, check.words)
    word: Word = "not supported" if claims else "not judged"
    differs = nearest.differences(draft, close.sentences[0]) if close.sentences else ()
    why = tuple(_why(draft, close.question, about.said, check))
    return Judgement(draft, word, word, close.question, close.sentences, differs, why)


def _why(draft: str, question: str | None, said: Sequence[str], check: Check) -> list[str]:
    """What a person is told besides the difference."""
    lines = [ELSEWHERE] if check.found.imported else []
    if strange := canonical.strange(draft):
        lines.append(f"signs that no sentence for print has: {', '.join(strange[:4])}")
    words: dict[str, str] = {q.id: q.word for q in check.found.questions}
    words |= {s.id: s.word for s in check.found.superlatives}
    word = words.get(question or "", "supported")
    if word != "supported":
        lines.append(f"the planned question `{question}` is {word}")
    return [*lines, *(f"leave out {no.wording}: {no.why}" for no in _left_out(question, said, check))]


def _left_out(question: str | None, said: Sequence[str], check: Check) -> list[LeftOut]:
    """Wordings to leave out that the draft uses."""
    own = [
        no for q in check.found.questions if q.id == question for no in left_out.of_question(q, check.found)
    ]
    return [no for no in (*own, *left_out.ALWAYS) if set(no.words) & set(said)]
