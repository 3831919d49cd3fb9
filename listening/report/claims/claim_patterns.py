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
    adjectives: tuple[str, ...] = ()
    """What stands in `so many times as … as`, each with the comparative that says the same."""
    comparatives: tuple[str, ...] = ()
    than: str = "than"
    """The word before the second: `than`, or `to` of what is preferred."""

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
        adjectives=(adjective, *(("long",) if comparative == "longer-ringing" else ())),
        comparatives=(comparative, *(("longer",) if comparative == "longer-ringing" else ())),
        than="to" if comparative == "preferred" else "than",
    )


def overreaches(text: str, liking_was_asked: bool) -> tuple[Overreach, ...]:
    """Every overreach in a plain text, in the order of the list."""
    return tuple(
        Overreach(match.group(0), entry["why"])
        for entry in _entries(liking_was_asked)
        for match in re.finditer(_any_of(entry["wordings"]), text)
    )


def without_overreaches(text: str, liking_was_asked: bool) -> str:
    """The text without the overreaching words."""
    for entry in _entries(liking_was_asked):
        text = re.sub(_any_of(entry["wordings"]), " ", text)
    return re.sub(r"\s+", " ", text).strip()


def _entries(liking_was_asked: bool) -> list[dict[str, Any]]:
    return [one for one in _words()["overreach"] if not (liking_was_asked and one.get("unless_asked"))]


def says_equal(text: str) -> bool:
    """Whether the text speaks of equal level or loudness."""
    return equal_part(text) != ""


def equal_part(text: str) -> str:
    """What the text says of equal level or loudness; empty if nothing."""
    level = _words()["level"]
    match = re.search(_any_of([*level["equal_level"], *level["equal_loudness"], *level["beyond"]]), text)
    return match.group(0) if match else ""


def recorded_part(text: str) -> str:
    """What the text says of sounds as recorded; empty if nothing."""
    match = re.search(_any_of(_words()["level"]["recorded"]), text)
    return match.group(0) if match else ""


def equal_in(text: str, what: str) -> str:
    """What the text says of equal `level` or of equal `loudness`; empty if nothing."""
    match = re.search(_any_of(_words()["level"][f"equal_{what}"]), text)
    return match.group(0) if match else ""


def without_level(text: str) -> str:
    """The text without what it says of level."""
    return re.sub(
        _any_of([wording for listed in _words()["level"].values() for wording in listed]), " ", text
    )


def told_apart(text: str) -> str:
    """The words that say two things can be told apart; empty if none."""
    match = re.search(_any_of(_words()["audible"]["told_apart"]), text)
    return match.group(0) if match else ""


def without_told_apart(text: str) -> str:
    """The text without them."""
    return re.sub(_any_of(_words()["audible"]["told_apart"]), " ", text)


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
