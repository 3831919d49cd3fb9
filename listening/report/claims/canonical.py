"""A draft as the tokens that count: what is harmless is evened out, everything else stays and tells.

Harmless: the case of Latin letters, spacing, commas between words, one mark or one reference to a footnote at
the end, kinds of quotation marks and dashes, whole numbers up to 99 in words. A sign that is not a letter,
digit or listed mark stays a token of its own, so that no printable form has it.
"""

import re
import unicodedata
from functools import cache, lru_cache

from listening.report.sentences import language

LATIN_END = "\u0250"  # letters below it change case; a Kelvin sign or a Cyrillic letter never becomes Latin
KEPT = 4096  # texts whose tokens are remembered
COMBINING = ("\u0300", "\u036f")
SPACES = " \t\r\n\u00a0\u2009\u202f"
EVENED = str.maketrans(
    {**dict.fromkeys("“”„«»", '"'), **dict.fromkeys("’‘ʼ", "'"), **dict.fromkeys("–—‒‑", "-"), "ß": "ss"}
)
TOKEN = re.compile(
    rf"(?P<space>[{SPACES}]+)|(?P<number>[0-9]+(?:[.,][0-9]+)*)|(?P<word>[^\W\d_]+(?:[-'][^\W\d_]+)*)|(?P<sign>.)",
    re.DOTALL,
)
AT_END = re.compile(rf"[{SPACES}]*[.!]?[{SPACES}]*(?:[*†‡¹²³]|\[[0-9]{{1,2}}\])?[{SPACES}]*[.!]?[{SPACES}]*$")
RUN = re.compile(r"[ \t\u00a0\u2009\u202f]{2,}")
LINES = re.compile(r"\r?\n(?: ?\r?\n){2,}")
PARAGRAPH = re.compile(r"\n[ \t\r]*\n")


@lru_cache(maxsize=KEPT)  # a draft is held against every form, and every form against every draft
def tokens(text: str) -> tuple[str, ...]:
    """Words, numbers and signs of a whole draft; see the top of this file for what is evened out."""
    return tokens_within(AT_END.sub("", _unwrapped(_evened(without_runs(text)).strip(SPACES)), count=1))


@lru_cache(maxsize=KEPT)
def tokens_within(text: str) -> tuple[str, ...]:
    """The same of a part, whose own end and quotation marks are not those of a draft."""
    if PARAGRAPH.search(text.strip()):
        text = PARAGRAPH.sub("¶", text)
    found = [(m.lastgroup, m[0]) for m in TOKEN.finditer(_evened(text))]
    kept = [
        (kind, _lower(said))
        for at, (kind, said) in enumerate(found)
        if kind != "space" and not _is_comma_between_words(found, at)
    ]
    return tuple(_numbers_in_digits([said for _, said in kept]))


def without_runs(text: str) -> str:
    """One space for many, one blank line for many: a search through a run takes the square of its length."""
    return LINES.sub("\n\n", RUN.sub(" ", text.replace("\r\n", "\n").replace("\r", "\n")))


def shown(text: str) -> str:
    """The text for a screen: signs that are not to be seen, or that steer a terminal, are named instead."""
    return "".join(c if _is_shown(c) else f"<{_named(c)}>" for c in text.replace("\r\n", "\n")).replace(
        "\n", " "
    )


def strange(text: str) -> list[str]:
    """The names of signs in a text that no wording in print needs: hidden, steering, look-alike letters."""
    found = dict.fromkeys(c for c in text if not _is_plain(c))
    return [_named(c) for c in found]


@cache
def numbers_in_words() -> dict[str, str]:
    """Two to ninety-nine in words, in every known language, with their digits; `one` is left a word."""
    found: dict[str, str] = {}
    for words in language.known():
        made = words.words["numbers"]
        small, tens = made["small"], made["tens"]
        for value in range(2, 100):
            ten, one = divmod(value, 10)
            unit = made["one"] if one == 1 else small[one]
            whole = tens[ten - 2] if value >= 20 else ""
            said = small[value] if value < 20 else made["pattern"].format(ten=whole, one=unit)
            found.setdefault(said if value < 20 or one else whole, str(value))
    return found


def _evened(text: str) -> str:
    return _composed(text).translate(EVENED)


def _composed(text: str) -> str:
    """Letters with their accents in one sign each; left alone where a sign would turn into another letter."""
    known = all(c < LATIN_END or COMBINING[0] <= c <= COMBINING[1] or not c.isalpha() for c in text)
    return unicodedata.normalize("NFC", text) if known else text


def _unwrapped(text: str) -> str:
    """Without quotation marks around the whole of it."""
    inside = text[1:-1]
    return inside if len(text) > 2 and text[0] == text[-1] == '"' and '"' not in inside else text


def _lower(said: str) -> str:
    return "".join(c.lower() if c < LATIN_END else c for c in said)


def _is_comma_between_words(found: list[tuple[str | None, str]], at: int) -> bool:
    """Whether it only parts clauses: a comma that stands right after a word and before a space."""
    if found[at][1] != "," or not 0 < at < len(found) - 1:
        return False
    return found[at - 1][0] in ("word", "number", "sign") and found[at + 1][0] == "space"


def _numbers_in_digits(said: list[str]) -> list[str]:
    known = numbers_in_words()
    return [known.get(one, one) for one in said]


def _is_shown(c: str) -> bool:
    return c == "\n" or (c.isprintable() and unicodedata.category(c) not in ("Cf", "Mn", "Me"))


def _is_plain(c: str) -> bool:
    return c in SPACES or (_is_shown(c) and (c < LATIN_END or c in "“”„«»’‘–—…†‡₀€"))


def _named(c: str) -> str:
    return unicodedata.name(c, f"U+{ord(c):04X}").lower()
