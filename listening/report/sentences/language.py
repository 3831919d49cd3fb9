"""The words of one language: one TOML file each in `languages/`, and nothing of a language elsewhere."""

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "languages"
ENGLISH = "en"
MINUS = "\N{MINUS SIGN}"


@dataclass(frozen=True)
class Language:
    """What the file holds, by its sections; `en.toml` explains each key."""

    code: str
    words: dict[str, Any]

    def list_of(self, section: str, key: str) -> list[str]:
        """Wordings that mean the same, the printed one first; empty where the file has none."""
        return list(self.words[section].get(key, ()))

    def discriminated(self, task: str) -> list[str]:
        """What happened in a task with right answers; a task without words of its own has plain ones."""
        return self.list_of("evidence", task) or self.list_of("evidence", "other_task")

    def task(self, task: str) -> str:
        """What a test is called; a task without words of its own goes by its name."""
        known = self.words["footnote"].get(task)
        return str(known) if known else self.text("footnote", "other_task").format(task=task)

    def text(self, section: str, key: str) -> str:
        """One wording."""
        return str(self.words[section][key])

    def by_number(self, key: str, *, many: bool) -> str:
        """`one` or `ones`, `is` or `are`; empty where the file has no such word."""
        return str(self.words["words"].get(key, {}).get("many" if many else "one", ""))

    def quoted(self, text: str) -> str:
        """The text in this language's quotation marks."""
        opening, closing = self.words["quotes"]
        return f"{opening}{text}{closing}"

    def listed(self, names: list[str]) -> str:
        """`a, b and c`."""
        return f" {self.words['and']} ".join([", ".join(names[:-1]), names[-1]] if names[1:] else names)

    def number(self, value: float, digits: int) -> str:
        """A number with this language's decimal sign and a true minus."""
        text = f"{value:.{digits}f}"
        text = text if float(text) else text.lstrip("-")
        return text.replace("-", MINUS).replace(".", str(self.words["decimal"]))

    def comparatives(self, comparative: str) -> list[str]:
        """The protocol's word of the claim and its synonyms; none where this language lacks the word."""
        known = self.words["attributes"].get(comparative)
        if known is not None:
            return list(known["comparative"])
        return [comparative] if self.words["generic"] else []

    def superlative(self, comparative: str) -> str:
        """`the brightest`; empty where this language lacks the word."""
        known = self.words["attributes"].get(comparative)
        return "" if known is None else str(known["superlative"])


@cache
def of(code: str) -> Language:
    """The language of that code."""
    path = FOLDER / f"{code}.toml"
    return Language(code, tomllib.loads(path.read_text(encoding="utf-8")))


@cache
def known() -> tuple[Language, ...]:
    """All languages, English first."""
    codes = sorted(path.stem for path in FOLDER.glob("*.toml"))
    return tuple(of(code) for code in sorted(codes, key=lambda code: code != ENGLISH))
