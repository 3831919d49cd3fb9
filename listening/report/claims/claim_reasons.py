"""Why a part of a draft is not supported: the planned question, level, names, numbers, factors, hearing."""

import re
from dataclasses import dataclass

from listening.records.findings import Findings, QuestionFinding
from listening.report import rounding
from listening.report.claims import claim_factor, claim_patterns, claim_reading
from listening.report.claims.claim_factor import Said
from listening.report.claims.claim_reading import Compared, Names
from listening.report.page import reasons
from listening.report.sentences import metric_words, ratio_sentences, wording

HOW_MUCH = "how much was not asked: listeners said which of two"
SAME_FACTOR = 1e-6  # relative; a factor said with two or three digits


@dataclass(frozen=True)
class Unsupported:
    """A part of the draft that the findings do not support, and why."""

    part: str
    why: str


def planned(said: Compared, found: Findings, text: str) -> tuple[QuestionFinding | None, list[Unsupported]]:
    """The planned question that the draft is about, and why it does not support the draft, if so."""
    pair = {said.more, said.than}
    near = [q for q in found.questions if {q.more, q.than} == pair]
    if said.kind == "audible":
        near = [q for q in near if q.kind == "audible"]
        if not near:
            why = "no planned question asked whether these two can be told apart"
            return None, [Unsupported(said.part, why)]
    else:
        near = [q for q in near if q.attribute == said.attribute and q.kind != "audible"]
    near = [q for q in near if q.kind == said.kind] or near
    fitting = [
        q for q in near if claim_patterns.says_equal(text) == (q.presentation != "as recorded")
    ] or near
    if not fitting:
        why = f"no planned question compares these two in {said.attribute}"
        return None, [Unsupported("the comparison", why)]
    question = fitting[0]
    return question, _against(said, question, found)


def of_wording(
    text: str, q: QuestionFinding, found: Findings, more: Names, than: Names, *, with_factor: bool
) -> list[Unsupported]:
    """Level, names and numbers of a draft on one question; beside a factor no share of choices may stand."""
    return [
        *_level(text, q, found),
        *_narrow(text, q.more_label, more),
        *_narrow(text, q.than_label, than),
        *_numbers(text, q, with_factor=with_factor),
    ]


def of_hearing(text: str, said: Compared, q: QuestionFinding) -> list[Unsupported]:
    """Whether the draft says that it is heard, not that it is."""
    if claim_patterns.says_heard(text):
        return []
    if q.kind == "audible":
        write = "“can be told apart by ear”"
    elif q.kind == "same":
        write = "“are heard as”, “sound”"
    elif "longer-ringing" in q.comparative:
        write = "“is heard to ring longer”"
    else:
        write = f"“{wording.heard_as(q.comparative)}”, “sounds {q.comparative} than”"
    return [Unsupported(said.part, f"the test says what is heard, not what is: write {write}")]


def of_factors(said: tuple[Said, ...], text: str, q: QuestionFinding | None) -> list[Unsupported]:
    """What is wrong with each factor in the draft."""
    return [Unsupported(one.part.strip(), why) for one in said if (why := _factor(one, text, q))]


def asked_for_liking(found: Findings) -> bool:
    """Whether the study asked which is preferred."""
    return any(q.comparative == "preferred" for q in found.questions)


def _against(said: Compared, q: QuestionFinding, found: Findings) -> list[Unsupported]:
    if q.kind != said.kind:
        asked = "are the same" if q.kind == "same" else "differ"
        return [Unsupported(said.part, f"planned was whether the two {asked} ({q.id}: {q.word})")]
    if said.kind == "more" and q.more != said.more:
        return [Unsupported("the direction", f"planned was the other way round ({q.id}: {q.word})")]
    if q.word != "supported":
        return [
            Unsupported(said.part, f"the planned question came out {q.word} ({q.id}): {reasons.of(q, found)}")
        ]
    return []


def _level(text: str, q: QuestionFinding, found: Findings) -> list[Unsupported]:
    """Whether the draft says how level was, as the question needs it."""
    equal = wording.held_equal(found)
    wrong = claim_patterns.equal_in(text, "level" if equal == "loudness" else "loudness")
    if q.presentation == "as recorded":
        if not claim_patterns.says_equal(text):
            return []
        why = "the question was decided as recorded, level differences included"
        return [Unsupported(claim_patterns.equal_part(text), why)]
    if wrong:
        why = f"the sounds were matched in {equal}, {found.matching.label}: write “at equal {equal}”"
        return [Unsupported(wrong, why)]
    if claim_patterns.says_equal(text):
        return []
    why = f"heard at equal {equal} only: write “at equal {equal}”; as recorded the two differ in {equal} too"
    return [Unsupported(claim_patterns.recorded_part(text) or f"no word of {equal}", why)]


def _narrow(text: str, label: str, own: Names) -> list[Unsupported]:
    """Whether a condition is named as narrowly as it was tested."""
    if claim_reading.place(text, own.full) is not None:
        return []
    return [Unsupported(own.short, f"tested was {label}: write it so; other conditions were not tested here")]


def _numbers(text: str, q: QuestionFinding, *, with_factor: bool) -> list[Unsupported]:
    """Numbers that do not stand in one of the phrases in which this question's own may."""
    phrases = [
        rf"{q.n_listeners} (?:\w+ )?listeners",
        rf"{q.n_direct_more} of {q.n_direct} (?:direct comparisons|trials)",
        rf"{q.n_direct_no_difference} of {q.n_direct} direct comparisons were answered no difference",
    ]
    if q.share is not None:
        value, lower, upper = map(rounding.in_hundred, (q.share.value, q.share.lower, q.share.upper))
        phrases += [rf"{value} of 100 (?:choices|trials)", rf"limits {lower} to {upper}"]
    for phrase in () if with_factor else phrases:
        text = re.sub(rf"(?<![\w.,]){phrase}(?!\w)", " ", text)
    strange = re.findall(r"\S*\d\S*", text)
    return [Unsupported(number, "no number that this question gives for this") for number in strange]


def _factor(said: Said, text: str, q: QuestionFinding | None) -> str:
    """Why a factor is not supported; empty if it is."""
    loudness = q is not None and (q.about_level or q.comparative == "louder")
    said_loud = re.search(r"(?<!\w)(?:loud|quiet|soft)\w*", claim_patterns.without_level(text))
    loud = loudness or said_loud is not None
    which = ""
    if loud and said.factor is not None and said.factor > 1 and "sone" not in text:
        which = f"{claim_factor.ambiguous(said.factor)}, say which; "
    if q is None:
        return f"{which}{HOW_MUCH}"
    f = q.factor
    if f is None:
        return f"{which}{HOW_MUCH}, and no factor was planned"
    metric = metric_words.of(f.metric).name
    if said.factor is None or abs(said.factor / f.factor - 1) > SAME_FACTOR:
        measured = ratio_sentences.ratio(f, "; measured is")
        return f"{which}planned was {wording.times(f.factor)} ({metric}){measured}"
    if f.word != "supported":
        said_why = ratio_sentences.reason(q)
        return f"{which}{wording.times(f.factor)} was planned ({metric}) and is {f.word}: {said_why}"
    if which:
        return which + f"planned and measured was {metric}: write “in sone”"
    if said.hedged:
        return f"shown is “at least {wording.times(f.factor)}”"
    if not said.is_ratio and not said.per_cent:
        return f"“times” with a comparative is ambiguous: write “{wording.times(f.factor)} as … as”"
    if claim_patterns.says_heard(text):
        said_so = ratio_sentences.ratio(f, "the ratio is")
        return f"how much was measured ({said_so}), not heard: print the planned sentence instead"
    return ""
