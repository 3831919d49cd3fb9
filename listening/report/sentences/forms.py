"""Headline, sentence, footnote and long form of what may be printed, in every language that has the words.

A form exists only where it is true whatever a reader takes it for: no headline of a sameness, no form at all
of a proof of matching, of an open question or of a table collected elsewhere.
"""

from collections.abc import Iterator

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.report.sentences import facts, footnotes, language, long_forms, slots
from listening.report.sentences.form import Form, fixed
from listening.report.sentences.language import Language

HEADLINES = ("more", "preferred", "audible", "edited_more", "edited_preferred", "edited_audible")


def all_of(found: Findings) -> tuple[Form, ...]:
    """Every printable form, English first, in the order of questions and superlatives."""
    return tuple(form for words in language.known() for form in in_language(found, words))


def in_language(found: Findings, words: Language) -> Iterator[Form]:
    """Every printable form in one language."""
    for q in found.questions:
        yield from of_question(q, found, words)
        yield from of_factor(q, found, words)
    for s in found.superlatives:
        yield from of_superlative(s, found, words)


def of_question(q: QuestionFinding, found: Findings, words: Language) -> Iterator[Form]:
    """The forms of one question; none where it bears nothing for print, or this language lacks the word."""
    if not facts.may_be_printed(q, found) or not words.comparatives(q.comparative):
        return
    name, filled, raw = facts.claim(q), *slots.of_question(q, found, words)
    claims = words.list_of("claim", name)
    if name in HEADLINES:
        yield Form(q.id, words.code, "headline", _headline_first(claims), filled)
    happened = [one + slots.tied(q, words) + "." for one in slots.happened(q, words)]
    together = tuple(claim + after for claim in claims for after in happened)
    yield Form(q.id, words.code, "sentence", together, filled, raw)
    yield fixed(q.id, words.code, "footnote", footnotes.of_question(q, found, words))
    if long := long_forms.of_question(q, found, words):
        yield fixed(q.id, words.code, "long form", long)


def of_factor(q: QuestionFinding, found: Findings, words: Language) -> Iterator[Form]:
    """The forms of a planned ratio that holds."""
    printable = (
        q.claimed_ratio is not None and q.claimed_ratio.word == "supported" and facts.may_be_printed(q, found)
    )
    measured = slots.measured(q.claimed_ratio.metric, words) if q.claimed_ratio else ""
    if q.claimed_ratio is None or not printable or not measured or not words.comparatives(q.comparative):
        return
    filled, raw = slots.of_question(q, found, words)
    filled |= slots.of_factor(q.claimed_ratio, words)
    templates = tuple(
        whole.replace("{claim}", claim).replace("{measured}", measured) + "."
        for whole in words.list_of("factor", "sentence")
        for claim in words.list_of("claim", facts.claim(q))
    )
    yield Form(q.id, words.code, "sentence", templates, filled, raw | {"factor": q.claimed_ratio.claimed})
    yield fixed(q.id, words.code, "footnote", footnotes.of_factor(q, found, words))


def of_superlative(s: SuperlativeFinding, found: Findings, words: Language) -> Iterator[Form]:
    """The forms of a superlative that holds."""
    if s.word != "supported" or found.imported is not None or not slots.superlative(s.comparative, words):
        return
    filled = slots.of_superlative(s, found, words)
    claims = words.list_of("claim", "most")
    yield Form(s.id, words.code, "headline", _headline_first(claims), filled)
    happened = words.list_of("evidence", "most")
    sentences = tuple(claim + after + "." for claim in claims for after in happened)
    yield Form(s.id, words.code, "sentence", sentences, filled)
    yield fixed(s.id, words.code, "footnote", footnotes.of_superlative(s, found, words))


def _headline_first(claims: list[str]) -> tuple[str, ...]:
    """A headline starts with the thing, where the language has such an order."""
    return tuple(sorted(claims, key=lambda claim: claim.startswith("{where}")))
