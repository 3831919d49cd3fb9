"""A draft sentence held against a study's findings, by listed patterns only.

What no pattern knows is "not judged", never "borne". The check sees words, not meaning, pictures or
context; advertising law and counsel have the last word.
"""

import re
from dataclasses import dataclass
from typing import Literal

from listening.records.findings import Findings, QuestionFinding
from listening.report import claim_patterns, rounding, sentences

Ruling = Literal["borne", "not borne", "not judged"]
LIMITS = (
    "This check knows listed wordings only and reads no meaning, picture or context. It does not know the "
    "law: have counsel read every claim before it is printed."
)


@dataclass(frozen=True)
class Unsupported:
    """A part of the draft that the findings do not bear, and why."""

    part: str
    why: str


@dataclass(frozen=True)
class Judgement:
    """What the findings say to a draft."""

    draft: str
    ruling: Ruling
    question: str | None
    """The planned question that the draft is about."""
    unsupported: tuple[Unsupported, ...]
    unknown: tuple[str, ...]
    """Words that no pattern knows; with any of them nothing is called borne."""


@dataclass(frozen=True)
class _Compared:
    """What a draft says of two conditions."""

    attribute: str
    more: str
    than: str
    same: bool


def judge(draft: str, found: Findings) -> Judgement:
    """Which planned question bears the draft, and which part of it none does."""
    text = _plain(draft)
    own = {} if found.simulated else _own_sentences(found)
    if text in own:
        return Judgement(draft, "borne", own[text], (), ())
    unsupported = [Unsupported(o.part, o.why) for o in claim_patterns.overreaches(text)]
    if found.simulated:
        unsupported.append(Unsupported("the whole sentence", "the panel was simulated: nobody listened"))
    rest = claim_patterns.without_overreaches(text)
    names = _names(found)
    compared = _compared(rest, found, names)
    question = None
    if compared is not None:
        question, more = _planned(compared, found, rest)
        unsupported += more
        if question is not None:
            unsupported += _level(rest, question) + _narrow(rest, question, names) + _numbers(rest, question)
            unsupported += _hearing(rest)
    unknown = (*_unknown(rest, names, found), *(("a question",) if "?" in draft else ()))
    return Judgement(
        draft=draft,
        ruling=_ruling(compared, question, unsupported, unknown),
        question=question.id if question else None,
        unsupported=tuple(unsupported),
        unknown=unknown,
    )


def _own_sentences(found: Findings) -> dict[str, str | None]:
    """The printable sentences of what is supported, and the question of each; word for word only."""
    best = {
        _plain(sentences.superlative(s, found)): None for s in found.superlatives if s.word == "supported"
    }
    return best | {
        _plain(sentences.printable(q, found)): q.id for q in found.questions if q.word == "supported"
    }


def _ruling(
    compared: _Compared | None,
    question: QuestionFinding | None,
    unsupported: list[Unsupported],
    unknown: tuple[str, ...],
) -> Ruling:
    if unsupported:
        return "not borne"
    if compared is None or question is None or unknown:
        return "not judged"
    return "borne"


def _plain(draft: str) -> str:
    """Lower case, one space, plain dashes; brackets and end marks gone, signs that carry meaning kept."""
    text = draft.lower().replace("–", "-").replace("’", "'").replace("per cent", "%").replace("percent", "%")
    text = re.sub(r"[()\[\]“”\"!?;:]", " ", text)
    text = re.sub(r"[.,](?!\d)", " ", text)
    return re.sub(r"\s+", " ", text).strip()


def _names(found: Findings) -> dict[str, tuple[str, ...]]:
    """Condition → how a draft may call it, the fullest name first."""
    labels = {q.more: q.more_label for q in found.questions} | {q.than: q.than_label for q in found.questions}
    labels |= {s.condition: s.label for one in found.strengths for s in one.strengths}
    names = {}
    for condition, label in labels.items():
        full = _plain(label)
        short = _plain(re.split(r"[,(]", label)[0])
        names[condition] = tuple(
            dict.fromkeys((full, _plain(condition.replace("/", " ").replace("_", " ")), short))
        )
    return names


def _place(text: str, aliases: tuple[str, ...]) -> int | None:
    """Where a condition is named first; None if it is not."""
    places = [m.start() for name in aliases if (m := re.search(rf"(?<!\w){re.escape(name)}(?!\w)", text))]
    return min(places, default=None)


def _compared(text: str, found: Findings, names: dict[str, tuple[str, ...]]) -> _Compared | None:
    """The comparison that the draft makes, if its words and their order are known."""
    named = sorted((at, c) for c, aliases in names.items() if (at := _place(text, aliases)) is not None)
    said = [
        attribute
        for attribute in _attributes(found)
        if attribute[1].is_in(claim_patterns.without_level(text))
    ]
    if len(named) != 2 or len(said) != 1:
        return None
    (start, first), (end, second) = named
    attribute, forms = said[0]
    if forms.count(claim_patterns.without_level(text)) != 1:
        return None
    if re.search(forms.same, text):
        return _Compared(attribute, first, second, same=True)
    between = text[start:end]
    for pattern, more, than in ((forms.less, second, first), (forms.more, first, second)):
        if re.search(rf"{pattern}.*(?<!\w)than(?!\w)", between):
            return _Compared(attribute, more, than, same=False)
    return None


def _attributes(found: Findings) -> list[tuple[str, claim_patterns.Forms]]:
    asked = dict.fromkeys((q.attribute, q.comparative) for q in found.questions)
    return [(attribute, claim_patterns.forms(attribute, comparative)) for attribute, comparative in asked]


def _planned(said: _Compared, found: Findings, text: str) -> tuple[QuestionFinding | None, list[Unsupported]]:
    """The planned question that the draft is about, and why it does not bear the draft, if so."""
    pair = {said.more, said.than}
    near = [q for q in found.questions if q.attribute == said.attribute and {q.more, q.than} == pair]
    near = [q for q in near if (q.kind == "same") == said.same] or near
    fitting = [q for q in near if claim_patterns.fits_level(text, q.presentation)] or near
    if not fitting:
        return None, [
            Unsupported("the comparison", f"no planned question compares these two in {said.attribute}")
        ]
    question = fitting[0]
    if (question.kind == "same") != said.same:
        asked = "are the same" if question.kind == "same" else "differ"
        return question, [
            Unsupported("the comparison", f"planned was whether the two {asked}: {question.word}")
        ]
    if not said.same and question.more != said.more:
        return question, [
            Unsupported("the direction", f"planned was the other way round ({question.id}: {question.word})")
        ]
    if question.word != "supported":
        return question, [
            Unsupported("the comparison", f"{question.id} is {question.word}: {question.reason}")
        ]
    return question, []


def _level(text: str, q: QuestionFinding) -> list[Unsupported]:
    """Whether the draft says how level was, as the question needs it."""
    if claim_patterns.fits_level(text, q.presentation):
        return []
    if q.presentation == "as recorded":
        return [
            Unsupported("equal level", "the question was decided as recorded, level differences included")
        ]
    return [
        Unsupported(
            "no word of level", "heard at equal level only: say so, as recorded the two differ in level"
        )
    ]


def _narrow(text: str, q: QuestionFinding, names: dict[str, tuple[str, ...]]) -> list[Unsupported]:
    """Whether each condition is named as narrowly as it was tested."""
    wide = []
    for condition, label in ((q.more, q.more_label), (q.than, q.than_label)):
        full = [name for name in names[condition] if name != names[condition][-1]] or names[condition]
        if _place(text, tuple(full)) is None:
            wide.append(
                Unsupported(names[condition][-1], f"tested was {label}: say so, other conditions were not")
            )
    return wide


def _numbers(text: str, q: QuestionFinding) -> list[Unsupported]:
    """Numbers that do not stand in one of the phrases in which this question's own may."""
    phrases = [
        rf"{q.n_listeners} (?:\w+ )?listeners",
        rf"{q.n_direct_more} of {q.n_direct} direct comparisons",
    ]
    if q.share is not None:
        value, lower, upper = map(rounding.in_hundred, (q.share.value, q.share.lower, q.share.upper))
        phrases += [rf"{value} of 100 choices", rf"limits {lower} to {upper}"]
    for phrase in phrases:
        text = re.sub(rf"(?<![\w.,]){phrase}(?!\w)", " ", text)
    strange = re.findall(r"\S*\d\S*", text)
    return [Unsupported(number, "no number that this question gives for this") for number in strange]


def _hearing(text: str) -> list[Unsupported]:
    if claim_patterns.says_heard(text):
        return []
    return [Unsupported("is", "the test says what is heard, not what is: write `is heard as` or `sounds`")]


def _unknown(text: str, names: dict[str, tuple[str, ...]], found: Findings) -> tuple[str, ...]:
    """Words that no pattern knows, and what makes a draft more than one plain comparison."""
    attributes = _attributes(found)
    text = claim_patterns.without_level(text)
    if sum(forms.count(text) for _, forms in attributes) > 1:
        return ("more than one claim in a sentence",)
    text = re.sub(r"more than 99|fewer than 1", " ", text)
    for _, forms in attributes:
        text = forms.without(text)
    text, most = _without_names(text, names)
    return ("a condition named twice",) if most > 1 else claim_patterns.unknown_words(text)


def _without_names(text: str, names: dict[str, tuple[str, ...]]) -> tuple[str, int]:
    """The text without the conditions' whole names, and how often the most frequent of them stood in it."""
    counts = dict.fromkeys(names, 0)
    aliases = [(name, condition) for condition, all_names in names.items() for name in all_names]
    for name, condition in sorted(aliases, key=lambda alias: -len(alias[0])):
        text, n = re.subn(rf"(?<!\w){re.escape(name)}(?!\w)", " ", text)
        counts[condition] += n
    return text, max(counts.values(), default=0)
