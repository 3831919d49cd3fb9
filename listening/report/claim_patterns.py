"""The wordings that the check of draft sentences knows, from claim_words.toml."""

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

WORDS = Path(__file__).with_name("claim_words.toml")


@dataclass(frozen=True)
class Overreach:
    """A wording that goes beyond what a listening test can bear."""

    part: str
    why: str


@dataclass(frozen=True)
class Forms:
    """How a draft says more, less and the same of one attribute: regular expressions."""

    more: str
    less: str
    same: str

    def without(self, text: str) -> str:
        """The text without these wordings."""
        for pattern in (self.same, self.less, self.more):
            text = re.sub(pattern, " ", text)
        return text

    def is_in(self, text: str) -> bool:
        """Whether the text says anything of this attribute."""
        return self.count(text) > 0

    def count(self, text: str) -> int:
        """How often the text says something of this attribute."""
        return len(re.findall("|".join((self.same, self.less, self.more)), text))


def forms(attribute: str, comparative: str) -> Forms:
    """The wordings of one attribute; what the lists do not hold follows the comparative."""
    words = _words()
    stem, _, tail = comparative.partition("-")
    adjective = re.sub(r"er$", "e?", stem) + (f"-{tail}" if tail else "")
    same = [
        f"equally {adjective}",
        f"(?:just )?as {adjective} as",
        f"(?:the )?same in {re.escape(attribute)}",
    ]
    return Forms(
        more=_any_of(words["more"].get(comparative, [re.escape(comparative)])),
        less=_any_of(words["less"].get(comparative, [f"less {adjective}"])),
        same=_any_of([*same, *words["same"].get(comparative, [])]),
    )


def overreaches(text: str) -> tuple[Overreach, ...]:
    """Every overreach in a plain text, in the order of the list."""
    return tuple(
        Overreach(match.group(0), entry["why"])
        for entry in _words()["overreach"]
        for match in re.finditer(_any_of(entry["wordings"]), text)
    )


def without_overreaches(text: str) -> str:
    """The text without the overreaching words."""
    for entry in _words()["overreach"]:
        text = re.sub(_any_of(entry["wordings"]), " ", text)
    return re.sub(r"\s+", " ", text).strip()


def says_equal_level(text: str) -> bool:
    """Whether the text speaks of equal level."""
    return re.search(_any_of(_words()["level"]["equal"]), text) is not None


def without_level(text: str) -> str:
    """The text without what it says of level."""
    level = _words()["level"]
    return re.sub(_any_of([*level["equal"], *level["recorded"]]), " ", text)


def fits_level(text: str, presentation: str) -> bool:
    """Whether what the text says of level fits a presentation; `as recorded` may go unsaid."""
    return says_equal_level(text) == (presentation != "as recorded")


def says_heard(text: str) -> bool:
    """Whether the text speaks of hearing, not of what a thing is."""
    return re.search(_any_of(_words()["hearing"]["heard"]), text) is not None


def unknown_words(text: str) -> tuple[str, ...]:
    """Words that are no filling, numbers aside, each once."""
    filling = set(_words()["filling"].split())
    words = re.findall(r"[^\W\d][\w'-]*", text)
    return tuple(dict.fromkeys(word for word in words if word not in filling))


def _any_of(wordings: Sequence[str]) -> str:
    return rf"(?<!\w)(?:{'|'.join(wordings)})(?!\w)"


@cache
def _words() -> dict[str, Any]:
    return tomllib.loads(WORDS.read_text(encoding="utf-8"))
