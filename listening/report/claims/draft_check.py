"""A draft sentence held against a study's findings, by listed patterns only.

What no pattern knows is "not judged", never "supported". The check sees words, not meaning, pictures or
context; advertising law and counsel have the last word.
"""

from dataclasses import dataclass, replace
from typing import Literal

from listening.records.findings import Findings, QuestionFinding
from listening.report.claims import (
    claim_factor,
    claim_patterns,
    claim_reading,
    claim_reasons,
    claim_superlative,
)
from listening.report.claims.claim_reading import Compared
from listening.report.claims.claim_reasons import Unsupported
from listening.report.sentences import ratio_sentences, sentences

Ruling = Literal["supported", "not supported", "not judged"]
LIMITS = (
    "This check knows listed wordings only and reads no meaning, picture or context. It does not know the "
    "law: have counsel read every claim before it is printed."
)
NOBODY = "the panel was simulated: nobody listened"


@dataclass(frozen=True)
class Judgement:
    """What the findings say to a draft."""

    draft: str
    ruling: Ruling
    question: str | None
    """The planned question, or superlative, that the draft is about."""
    unsupported: tuple[Unsupported, ...]
    unknown: tuple[str, ...]
    """Words that no pattern knows; with any of them nothing is called supported."""
    had_people_listened: Ruling | None = None
    """Of a simulated panel: what the ruling would be of people who answered like it."""


def judge(draft: str, found: Findings) -> Judgement:
    """Which planned question supports the draft, and which part of it none does."""
    if not found.simulated:
        return _judge(draft, found)
    as_heard = _judge(draft, found.model_copy(update={"simulated": False}))
    return replace(
        as_heard,
        ruling="not supported",
        unsupported=(*as_heard.unsupported, Unsupported("the whole sentence", NOBODY)),
        had_people_listened=as_heard.ruling,
    )


def _judge(draft: str, found: Findings) -> Judgement:
    text = claim_reading.plain(draft.removeprefix(sentences.SIMULATED))
    own = _own_sentences(found)
    if text in own:
        return Judgement(draft, "supported", own[text], (), ())
    called = claim_reading.names(found)
    named = claim_superlative.said(text, found, called)
    if named is not None:
        return Judgement(draft, "not supported", *named, ())
    overreaches = claim_patterns.overreaches(text, claim_reasons.asked_for_liking(found))
    unsupported = [Unsupported(o.part, o.why) for o in overreaches]
    rest = claim_patterns.without_overreaches(text, claim_reasons.asked_for_liking(found))
    factors = claim_factor.found(rest)
    bare = claim_factor.without(rest)
    if any(one.is_ratio for one in factors):
        bare = claim_reading.with_comparatives(bare, found)
    compared = claim_reading.compared(bare, found, called)
    question = None
    if compared is not None:
        question, more = claim_reasons.planned(compared, found, bare)
        unsupported += more
        if question is not None:
            more_called, than_called = called[question.more], called[question.than]
            unsupported += claim_reasons.of_wording(
                bare, question, found, more_called, than_called, with_factor=bool(factors)
            )
            unsupported += _how_it_is_heard(bare, compared, question, n_factors=len(factors))
    if compared is not None and compared.is_less:
        factors = tuple(claim_factor.turned(one) for one in factors)
    unsupported += claim_reasons.of_factors(factors, bare, question)
    unknown = (
        *claim_reading.unknown(bare, called, found),
        *(("a question",) if "?" in draft else ()),
    )
    return Judgement(
        draft=draft,
        ruling=_ruling(compared, question, unsupported, unknown),
        question=question.id if question else None,
        unsupported=tuple(unsupported),
        unknown=unknown,
    )


def _own_sentences(found: Findings) -> dict[str, str]:
    """The printable sentences of what is supported, and the question of each."""
    own = {
        claim_reading.plain(text): s.id
        for s in found.superlatives
        if s.word == "supported"
        for text in (sentences.superlative(s, found), *claim_superlative.short(s, found))
    }
    for q in found.questions:
        if q.factor is not None and q.factor.word == "supported":
            own[claim_reading.plain(ratio_sentences.printable(q, found))] = q.id
        if q.word == "supported":
            own[claim_reading.plain(sentences.printable(q, found))] = q.id
    return own


def _how_it_is_heard(
    text: str, compared: Compared, question: QuestionFinding, *, n_factors: int
) -> list[Unsupported]:
    """A draft speaks of hearing; one with a factor, of what was measured as well."""
    if n_factors:
        return []
    return claim_reasons.of_hearing(text, compared, question)


def _ruling(
    compared: Compared | None,
    question: QuestionFinding | None,
    unsupported: list[Unsupported],
    unknown: tuple[str, ...],
) -> Ruling:
    if unsupported:
        return "not supported"
    if compared is None or question is None or unknown:
        return "not judged"
    return "supported"
