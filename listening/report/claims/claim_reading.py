"""What a draft says: which two conditions, of which attribute, more, the same or told apart."""

import re
from dataclasses import dataclass
from typing import Literal

from listening.records.findings import Findings
from listening.report.claims import claim_patterns
from listening.report.claims.claim_patterns import Forms

DENIED = re.compile(r"(?<!\w)(?:no|not|hardly|barely|scarcely|never|nowhere near) $")  # `no louder than`
ASKS = re.compile(r"(?:is|are|was|were|do|does|did|can|could)(?!\w)")  # the verb before the name
UNFINISHED = re.compile(r"(?<!\w)(?:is|are|was|were|than|and|as|of|from|not)$")
Kind = Literal["more", "same", "audible"]


@dataclass(frozen=True)
class Names:
    """How a draft may call one condition, in plain text."""

    full: tuple[str, ...]
    """As narrowly as it was tested."""
    short: str
    """Without its brackets: `dome d`; empty where another condition is called so too."""

    @property
    def every(self) -> tuple[str, ...]:
        """All of them, the fullest first."""
        return (*self.full, self.short) if self.short else self.full


@dataclass(frozen=True)
class Compared:
    """What a draft says of two conditions."""

    attribute: str
    """Empty for `audible`: the draft does not say in what they differ."""
    more: str
    than: str
    kind: Kind
    part: str
    """The words that say it: `rings longer`."""
    is_less: bool = False
    """Said the other way round: `B rings shorter than A`."""


def plain(draft: str) -> str:
    """Lower case, one space, plain dashes; brackets and end marks gone, signs that carry meaning kept."""
    text = draft.lower().replace("–", "-").replace("’", "'").replace("per cent", "%").replace("percent", "%")
    text = re.sub(r"(?<=\d)%", " %", text)
    text = re.sub(r"[()\[\]“”\"!?;:]", " ", text)
    text = re.sub(r"[.,](?!\d)", " ", text)
    return re.sub(r"\s+", " ", text).strip()


def names(found: Findings) -> dict[str, Names]:
    """Condition → how a draft may call it."""
    labels = {q.more: q.more_label for q in found.questions} | {q.than: q.than_label for q in found.questions}
    labels |= {s.condition: s.label for one in found.strengths for s in one.strengths}
    short = {condition: plain(re.split(r"[,(]", label)[0]) for condition, label in labels.items()}
    made = {}
    for condition, label in labels.items():
        full = dict.fromkeys((plain(label), plain(condition.replace("/", " ").replace("_", " "))))
        own = short[condition]
        shared = list(short.values()).count(own) > 1
        made[condition] = Names(tuple(full), "" if own in full or shared else own)
    return made


def place(text: str, aliases: tuple[str, ...]) -> int | None:
    """Where a condition is named first; None if it is not."""
    places = [m.start() for name in aliases if (m := re.search(rf"(?<!\w){re.escape(name)}(?!\w)", text))]
    return min(places, default=None)


def compared(text: str, found: Findings, called: dict[str, Names]) -> Compared | None:
    """The comparison that the draft makes, if its words and their order are known."""
    text = claim_patterns.without_level(text)
    named = sorted((at, c) for c, own in called.items() if (at := place(text, own.every)) is not None)
    if len(named) != 2:
        return None
    (start, first), (end, second) = named
    said = [(name, forms) for name, forms in attributes(found) if forms.is_in(text)]
    if not said and (part := claim_patterns.told_apart(text)):
        return Compared("", first, second, "audible", part)
    if len(said) != 1 or said[0][1].count(text) != 1:
        return None
    attribute, forms = said[0]
    if match := re.search(forms.same, text):
        return Compared(attribute, first, second, "same", match.group(0))
    between = text[start:end]
    for pattern, more, than in ((forms.less, second, first), (forms.more, first, second)):
        if match := re.search(rf"((?:(?:is|are|was|has) )?{pattern}).*(?<!\w){forms.than}(?!\w)", between):
            if DENIED.search(between[: match.start()]):
                return None
            return Compared(attribute, more, than, "more", match.group(1), is_less=pattern is forms.less)
    return None


def with_comparatives(text: str, found: Findings) -> str:
    """The text with what a factor leaves of `three times as loud as`, `loud as`, put as `louder than`."""
    for _, forms in attributes(found):
        for adjective, comparative in zip(forms.adjectives, forms.comparatives, strict=True):
            text = re.sub(rf"(?<!\w)(?<!as ){adjective} as(?!\w)", f"{comparative} than", text)
    return text


def attributes(found: Findings) -> list[tuple[str, Forms]]:
    """Every attribute that a question compares, with its wordings."""
    asked = dict.fromkeys((q.attribute, q.comparative) for q in found.questions if q.kind != "audible")
    return [(attribute, claim_patterns.forms(attribute, comparative)) for attribute, comparative in asked]


def unknown(text: str, called: dict[str, Names], found: Findings) -> tuple[str, ...]:
    """Words that no pattern knows, and what makes a draft more than one plain comparison."""
    known = attributes(found)
    text = claim_patterns.without_level(text).strip()
    if sum(forms.count(text) for _, forms in known) > 1:
        return ("more than one claim in a sentence",)
    if ASKS.match(text):
        return ("a question",)
    if UNFINISHED.search(text):
        return ("a sentence that goes on",)
    if re.search(r"(?<!\w)(?:the same|alike)(?!\w)", text) and not any(f.is_in(text) for _, f in known):
        return ("the same in what",)
    text = re.sub(r"more than 99|fewer than 1", " ", text)
    for _, forms in known:
        text = forms.without(text)
    text = claim_patterns.without_told_apart(text)
    text, most = _without_names(text, called)
    return ("a condition named twice",) if most > 1 else claim_patterns.unknown_words(text)


def _without_names(text: str, called: dict[str, Names]) -> tuple[str, int]:
    """The text without the conditions' whole names, and how often the most frequent of them stood in it."""
    counts = dict.fromkeys(called, 0)
    aliases = [(name, condition) for condition, own in called.items() for name in own.every]
    for name, condition in sorted(aliases, key=lambda alias: -len(alias[0])):
        text, n = re.subn(rf"(?<!\w){re.escape(name)}(?!\w)", " ", text)
        counts[condition] += n
    return text, max(counts.values(), default=0)
