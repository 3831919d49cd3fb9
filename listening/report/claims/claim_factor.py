"""How much: `40 % longer`, `three times louder`, `twice as bright`, as drafts say it."""

import math
import re
from dataclasses import dataclass, replace

NUMBERS = {
    "two": 2.0,
    "three": 3.0,
    "four": 4.0,
    "five": 5.0,
    "six": 6.0,
    "seven": 7.0,
    "eight": 8.0,
    "nine": 9.0,
    "ten": 10.0,
    "hundred": 100.0,
    "a hundred": 100.0,
    "one and a half": 1.5,
    "two and a half": 2.5,
}
WORDS = {"twice": 2.0, "double": 2.0, "doubles": 2.0, "doubled": 2.0, "thrice": 3.0, "triple": 3.0}
LESS = {"half": 0.5, "a third": 1 / 3, "a quarter": 0.25}
_NUMBER = r"\d+(?:[.,]\d+)?"
_TIMES = rf"(?P<n>{_NUMBER}|{'|'.join(sorted(NUMBERS, key=len, reverse=True))}) times"
_PER_CENT = rf"(?P<n>{_NUMBER}) ?%"
_AT_LEAST = r"(?:(?P<least>at least|more than|over) |(?P<about>about|almost|nearly|some|up to) )?"


@dataclass(frozen=True)
class Said:
    """A factor as a draft says it."""

    part: str
    """The words themselves."""
    factor: float | None
    """More of it by this factor; None where it is less, or of something else."""
    is_ratio: bool
    """`so many times as much`; False for `so many times more` and for per cent."""
    per_cent: bool
    hedged: bool
    """`almost`, `up to`: no lower bound."""
    at: int


def found(text: str) -> tuple[Said, ...]:
    """Every factor in a plain text, in order; a share of choices (`86 of 100`) is none."""
    said = sorted([*_times(text), *_words(text), *_per_cent(text)], key=lambda one: one.at)
    apart: list[Said] = []
    for one in said:  # `half` within `one and a half times` is no factor of its own
        if not apart or one.at >= apart[-1].at + len(apart[-1].part):
            apart.append(one)
    return tuple(apart)


def without(text: str) -> str:
    """The text without its factors."""
    for one in found(text):
        text = text.replace(one.part, " ", 1)
    return re.sub(r"\s+", " ", text).strip()


def turned(said: Said) -> Said:
    """The factor by which the other one has more, where a draft says `40 % shorter`."""
    if said.factor is None or not said.per_cent or said.factor >= 2:
        return replace(said, factor=None)
    return replace(said, factor=1 / (2 - said.factor))


def ambiguous(factor: float) -> str:
    """Why a factor of loudness must say of what."""
    return (
        f"{factor:g} times is ambiguous: {10 * math.log2(factor):.1f} phon as loudness in sone, "
        f"{20 * math.log10(factor):.1f} dB as amplitude, {10 * math.log10(factor):.1f} dB as energy"
    )


def _times(text: str) -> list[Said]:
    made = []
    for m in re.finditer(rf"(?<![\w.,]){_AT_LEAST}{_TIMES}(?P<as> as(?= \w))?", text):
        if re.match(r" (?:in|of|out of) ", text[m.end() :]):
            continue
        made.append(
            Said(
                m.group(0),
                _value(m["n"]),
                m["as"] is not None,
                per_cent=False,
                hedged=m["about"] is not None,
                at=m.start(),
            )
        )
    return made


def _words(text: str) -> list[Said]:
    words = {**WORDS, **LESS}
    pattern = rf"(?<!\w){_AT_LEAST}(?P<n>{'|'.join(words)})(?!\w)(?P<as> as(?= \w)| the)?"
    return [
        Said(
            m.group(0),
            WORDS.get(m["n"]),
            is_ratio=m["as"] == " as",
            per_cent=False,
            hedged=m["about"] is not None,
            at=m.start(),
        )
        for m in re.finditer(pattern, text)
    ]


def _per_cent(text: str) -> list[Said]:
    return [
        Said(
            m.group(0),
            None if re.match(r" (?:less|of)\b", text[m.end() :]) else 1 + _value(m["n"]) / 100,
            is_ratio=False,
            per_cent=True,
            hedged=m["about"] is not None,
            at=m.start(),
        )
        for m in re.finditer(rf"(?<![\w.,]){_AT_LEAST}{_PER_CENT}", text)
    ]


def _value(text: str) -> float:
    return NUMBERS[text] if text in NUMBERS else float(text.replace(",", "."))
