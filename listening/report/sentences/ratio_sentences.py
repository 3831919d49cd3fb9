"""What a planned factor bears (`at least 1.4 times as long`): its sentence, its reason and its footnote."""

from listening.records.factor import FactorFinding
from listening.records.findings import Findings, QuestionFinding
from listening.report.rounding import number
from listening.report.sentences import metric_words, sentences, wording

VERBS = {"supported": "reaches", "contradicted": "stays below"}


def printable(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that a planned factor bears; empty where none was planned."""
    f = q.factor
    if f is None:
        return ""
    more, than = wording.name(q, q.more_label), wording.name(q, q.than_label)
    measured = metric_words.in_plain_words(f.metric, more)
    at_least = f"{measured} is at least {wording.times(f.factor)} that of {than}"
    if f.word == "supported":
        heard = wording.is_heard(more, q.comparative, than)
        text = (
            f"{wording.where(q.presentation, found)}, {heard}, and by measurement "
            f"{at_least}{ratio(f, '; it is')}."
        )
    elif f.word == "contradicted":
        text = f"It does not hold that {at_least} and that this is heard: {reason(q)}."
    else:
        text = f"No claim: it stays open whether {at_least} and whether this is heard: {reason(q)}."
    return sentences.marked(text, found)


def reason(q: QuestionFinding) -> str:
    """Which half of a planned factor holds and which does not, with the numbers."""
    f = q.factor
    if f is None:
        return "no factor was planned"
    measured = f.reason
    if f.ratio is not None:
        verb = VERBS.get(f.measured, "may or may not reach")
        measured = f"measured: the ratio{ratio(f, ' is')} and {verb} {wording.times(f.factor)}"
    return f"{measured}; heard: the answers to “{q.asked}” say {q.word}"


def ratio(f: FactorFinding, verb: str) -> str:
    """` is 1.52 times (limits 1.48 to 1.55)`, as far as the data go."""
    if f.ratio is None:
        return ""
    limits = f"limits {number(f.ratio.lower, 2)} to {number(f.ratio.upper, 2)}"
    return f"{verb} {number(f.ratio.value, 2)} times ({limits})"


def footnote(q: QuestionFinding, found: Findings) -> str:
    """What was heard and what was measured."""
    f = q.factor
    if f is None:
        return ""
    tail = (
        f"the ratio is of {metric_words.of(f.metric).name}, measured on {f.n_more} and {f.n_than} "
        f"{f.sampled} as recorded; how much was measured, listeners said only which of the two"
    )
    return f"{sentences.footnote(q, found).removesuffix('.')}; {tail}."
