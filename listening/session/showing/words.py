"""Every word of the interface, from one table (words.toml); one column a language."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from listening.errors import RecordError

TABLE = Path(__file__).with_name("words.toml")
LINE = "line_"  # before the name of an entry: its words in the plain line mode


@dataclass(frozen=True)
class Words:
    """The words of one language."""

    language: str
    table: dict[str, str]
    is_lines: bool = False
    """Whether they are for the plain line mode."""

    def text(self, name: str, **values: object) -> str:
        """The words called `name`, its {places} filled."""
        return self.table[name].format(**values)

    def in_lines(self) -> "Words":
        """The same words for the plain line mode, where signs are typed instead of keys."""
        own = {name.removeprefix(LINE): told for name, told in self.table.items() if name.startswith(LINE)}
        return Words(self.language, {**self.table, **{n: t for n, t in own.items() if n in self.table}}, True)


@cache
def languages() -> tuple[str, ...]:
    """The languages in the table."""
    return tuple(next(iter(_table().values())))


@cache
def words(language: str) -> Words:
    """The words of a language such as `en`.

    Raises
    ------
    RecordError
        The table has no such language.
    """
    if language not in languages():
        raise RecordError(
            f"language: found `{language}`, wanted one of {', '.join(languages())}; "
            f"to add one, give every entry of {TABLE.name} its words"
        )
    return Words(language, {name: entry[language] for name, entry in _table().items()})


@cache
def _table() -> dict[str, dict[str, str]]:
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))
