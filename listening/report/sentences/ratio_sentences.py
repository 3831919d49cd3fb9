"""What a planned ratio bears (`at least 1.4 times as long`): its sentence, its reason and its footnote."""

from listening.records.found.claimed_ratio import ClaimedRatioFinding
from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.report.rounding import number
from listening.report.sentences import footnotes, forms, language, sentences, slots, wording

VERBS = {"supported": "reaches", "contradicted": "stays below"}


def printable(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that a planned ratio bears; empty where none was planned."""
    f = q.claimed_ratio
    if f is None:
        return ""
    words = language.of(language.ENGLISH)
    made = [form.text for form in forms.of_factor(q, found, words) if form.use == "sentence"]
    if made:
        return sentences.marked(made[0], found)
    filled = slots.of_question(q, found, words)[0] | slots.of_factor(f, words)
    claim = slots.measured(f.metric, words).format(**{key: texts[0] for key, texts in filled.items()})
    if f.word == "contradicted":
        text = f"No claim: the test speaks against it that {claim} and that this is heard: {reason(q)}."
    else:
        text = f"No claim: it stays open whether {claim} and whether this is heard: {reason(q)}."
    return sentences.marked(text, found)


def reason(q: QuestionFinding) -> str:
    """Which half of a planned ratio holds and which does not, with the numbers."""
    f = q.claimed_ratio
    if f is None:
        return "no factor was planned"
    measured = f.reason
    if f.ratio is not None:
        verb = VERBS.get(f.measured, "may or may not reach")
        measured = f"measured: the ratio{ratio(f, ' is')} and {verb} {wording.times(f.claimed)}"
    return f"{measured}; heard: the answers to “{q.wording}” say {q.word}"


def ratio(f: ClaimedRatioFinding, verb: str) -> str:
    """` is 1.52 times (limits 1.48 to 1.55)`, as far as the data go."""
    if f.ratio is None:
        return ""
    limits = f"limits {number(f.ratio.lower, 2)} to {number(f.ratio.upper, 2)}"
    return f"{verb} {number(f.ratio.value, 2)} times ({limits})"


def footnote(q: QuestionFinding, found: Findings) -> str:
    """What was heard and what was measured."""
    return footnotes.of_factor(q, found, language.of(language.ENGLISH)) if q.claimed_ratio else ""
