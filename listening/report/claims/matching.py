"""Which printable form a draft is, if it is one: the whole draft against whole forms, nothing skipped."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass

from listening.report.claims import canonical
from listening.report.sentences.form import Form

SLOT = re.compile(r"\{(\w+)\}")
FIRST_MARK = 0xE000  # private signs stand for slots while a template is cut into tokens
DECIMAL = r"[0-9]+(?:[.,][0-9]+)?"
COARSER = 0.02  # a number with fewer decimals than printed may be off by this share of itself, no more


@dataclass(frozen=True)
class Pattern:
    """One template of a form, ready to be held against drafts."""

    form: Form
    whole: re.Pattern[str]
    decimals: tuple[float, ...]
    """Raw values of the measured numbers, in the order of the pattern's groups."""


def patterns(forms: tuple[Form, ...]) -> list[Pattern]:
    """Every template of every form."""
    return [_pattern(form, template) for form in forms for template in form.templates]


def find(draft: str, known: list[Pattern]) -> Form | None:
    """The form that the draft is; None where it is none."""
    said = " ".join(canonical.tokens(draft))
    for pattern in known:
        match = pattern.whole.fullmatch(said)
        if match and all(map(_says, match.groups(), pattern.decimals)):
            return pattern.form
    return None


def _pattern(form: Form, template: str) -> Pattern:
    names = list(dict.fromkeys(SLOT.findall(template)))
    marks = {name: chr(FIRST_MARK + i) for i, name in enumerate(names)}
    marked = SLOT.sub(lambda m: f" {marks[m[1]]} ", template)
    by_mark = {mark: name for name, mark in marks.items()}
    parts, decimals = [], []
    for token in _tokens(marked):
        name = by_mark.get(token)
        if name is None:
            parts.append(re.escape(token))
        elif name in form.decimals:
            parts.append(f"({DECIMAL})")
            decimals.append(form.decimals[name])
        else:
            parts.append("(?:" + "|".join(_alternatives(form.slots[name])) + ")")
    pattern = " ".join(parts).replace("(?:) ", "").replace(" (?:)", "")
    return Pattern(form, re.compile(pattern), tuple(decimals))


def _tokens(template: str) -> tuple[str, ...]:
    """Tokens of a template; a comma or point after a slot is cut off as after a word."""
    return canonical.tokens(re.sub(r" (?=[,.;:)])", "", template))


def _alternatives(texts: tuple[str, ...]) -> Iterator[str]:
    seen = dict.fromkeys(" ".join(canonical.tokens_within(text)) for text in texts)
    yield from (re.escape(text) for text in seen)


def _says(said: str, raw: float) -> bool:
    """Whether a number in a draft is the measured one, to its own number of decimals."""
    text = said.replace(",", ".")
    digits = len(text.partition(".")[2])
    value = float(text)
    rounded = round(raw, digits)
    return math.isclose(value, rounded, abs_tol=10.0 ** -(digits + 3)) and (
        digits > 0 or math.isclose(value, raw, rel_tol=COARSER)
    )
