"""One table of words: every entry in every language, with the same places to fill."""

import re
import string

import pytest

from listening.errors import RecordError
from listening.session.actions import Action
from listening.session.showing import words


@pytest.mark.parametrize("language", words.languages())
def test_every_entry_has_words_with_the_same_places(language: str) -> None:
    english, other = words.words("en").table, words.words(language).table
    assert english.keys() == other.keys()
    for name in english:
        assert other[name].strip()
        assert _places(other[name]) == _places(english[name]), name


def test_every_action_has_words() -> None:
    table = words.words("en").table
    for action in Action:
        assert action.label in table or not action.key, action


def test_an_unknown_language_is_named() -> None:
    with pytest.raises(RecordError, match="wanted one of en, de"):
        words.words("xx")


def _places(text: str) -> set[str | None]:
    return {field for _, field, _, _ in string.Formatter().parse(text) if field}


def test_the_plain_line_mode_never_speaks_of_a_screen_or_of_keys_it_lacks() -> None:
    for language, forbidden in (
        ("en", "space bar|bottom|arrow|Press the key"),
        ("de", "Leertaste|Unten|Pfeil|Drücken Sie die Taste"),
    ):
        table = words.words(language).in_lines().table
        shown = {n: t for n, t in table.items() if not n.startswith(("key_", "line_"))}
        assert not [n for n, t in shown.items() if re.search(forbidden, t)]
        assert shown != {n: t for n, t in words.words(language).table.items() if n in shown}
