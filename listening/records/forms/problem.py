"""One thing wrong with what a person wrote: where, what was found, what was wanted."""

from collections.abc import Iterable
from dataclasses import dataclass

KeyPath = tuple[int | str, ...]


@dataclass(frozen=True)
class Problem:
    """One finding of `check`; `wanted` says what would be right and so what to do."""

    file: str
    key: str
    found: str
    wanted: str
    line: int | None = None
    severity: str = "error"  # "error" stops the study; "caution" is criticism that does not

    def text(self) -> str:
        """The problem on one line."""
        where = f"{self.file}:{self.line}" if self.line else self.file
        return f"{where}: {self.key}: found {self.found}; wanted {self.wanted}"


def listing(problems: Iterable[Problem]) -> str:
    """All problems, a line each."""
    return "\n".join(problem.text() for problem in problems)


@dataclass(frozen=True)
class Fault:
    """One name that does not fit: where, what was found, what was wanted."""

    path: KeyPath
    found: str
    wanted: str
