"""What a planned question bears: the sentence for print, or the sentence that says why there is none."""

from listening.records.found.findings import Findings, SuperlativeFinding
from listening.records.found.findings_question import QuestionFinding
from listening.report.page import imported_words, reasons
from listening.report.sentences import (
    cause_words,
    facts,
    footnotes,
    forms,
    kind_words,
    language,
    slots,
    wording,
)
from listening.report.sentences.form import Form

SIMULATED = "Simulated panel, not for print: "


def printable(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that the question bears; where it bears no claim, the sentence says that."""
    if found.imported:
        return imported_words.described(q)
    form = _form(q.id, "sentence", tuple(forms.of_question(q, found, _english())))
    return marked(form.text if form else _not_for_print(q, found), found)


def superlative(s: SuperlativeFinding, found: Findings) -> str:
    """The one sentence that a planned superlative bears."""
    form = _form(s.id, "sentence", tuple(forms.of_superlative(s, found, _english())))
    if form is not None:
        return marked(form.text, found)
    claim = _claim_of_superlative(s, found)
    if s.word == "contradicted":
        return marked(f"No claim: the test speaks against it that, {claim}: {reasons.superlative(s)}.", found)
    return marked(f"No claim: whether, {claim}, stays open: {reasons.superlative(s)}.", found)


def footnote(q: QuestionFinding, found: Findings) -> str:
    """The footnote to the sentence: who, how, on what, how sure."""
    if found.imported:
        return imported_words.footnote(q, found)
    return footnotes.of_question(q, found, _english())


def superlative_footnote(s: SuperlativeFinding, found: Findings) -> str:
    """The same of a superlative."""
    return footnotes.of_superlative(s, found, _english())


def happened(q: QuestionFinding, found: Findings) -> str:
    """What was done, in numbers: `chosen as the brighter ones in 41 of 48 comparisons by 24 listeners`."""
    words = _english()
    filled, _ = slots.of_question(q, found, words)
    told = slots.happened(q, words)[0] + slots.tied(q, words)
    return told.format(**{key: texts[0] for key, texts in filled.items()}).removeprefix(": ")


def claim(q: QuestionFinding, found: Findings) -> str:
    """What was planned to be claimed, as the middle of a sentence, whatever came of it."""
    words = _english()
    filled, _ = slots.of_question(q, found, words)
    template = words.list_of("claim", facts.claim(q))[0]
    return template.format(**{key: texts[0] for key, texts in filled.items()})


def ask(q: QuestionFinding, found: Findings) -> str:
    """A planned question in short."""
    if cause_words.of(q) or q.contrast != "pair" or q.among:
        return f"Does it hold that, {claim(q, found)}?"
    at = "as recorded" if q.presentation == wording.AS_RECORDED else f"at equal {wording.held_equal(found)}"
    heard = wording.is_heard(q.more_label, q.comparative, q.than_label)
    asked = f"Is {heard}".replace(f"Is {q.more_label} is ", f"Is {q.more_label} ")
    return kind_words.OF[q.kind].asked.format(
        more=q.more_label, than=q.than_label, attribute=q.attribute, asked=asked, at=at
    )


def marked(text: str, found: Findings) -> str:
    """The text, with a warning before it where nobody listened."""
    return f"{SIMULATED}{text}" if found.simulated else text


def _not_for_print(q: QuestionFinding, found: Findings) -> str:
    """Why there is no sentence for print."""
    if q.word == "no verdict":
        few = f"{q.n_listeners} listeners are too few for a verdict"
        return f"No claim: {few if 'are needed' in q.reason else q.reason}."
    said, done = claim(q, found), happened(q, found) if q.n_direct else ""
    tail = f": {done}" if done else ""
    if q.word == "undecided":
        return f"No claim: the test leaves open whether, {said}{tail}."
    if q.word == "contradicted" and q.of_kind.is_equivalence:
        return f"No claim: the test speaks against it that, {said}{tail}."
    if q.word == "contradicted":
        by = f"by as much as was planned to matter ({reasons.matters(q)})"
        return f"No claim: the test speaks against it that, {said} {by}{tail}."
    if q.of_kind.is_equivalence and q.about_level:
        return f"The matching held, which is no sentence for print: {said}{tail}."
    return f"No sentence for print, because more than one thing was edited: {said}{tail}."


def _claim_of_superlative(s: SuperlativeFinding, found: Findings) -> str:
    words = _english()
    filled = slots.of_superlative(s, found, words)
    return words.list_of("claim", "most")[0].format(**{key: texts[0] for key, texts in filled.items()})


def _form(question: str, use: str, made: tuple[Form, ...]) -> Form | None:
    return next((form for form in made if (form.question, form.use) == (question, use)), None)


def _english() -> language.Language:
    return language.of(language.ENGLISH)
