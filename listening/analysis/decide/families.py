"""Planned questions that are corrected together: one set of steps, whatever the model that decides them."""

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TypeVar

from listening.records.questions import Question


class Worded(Protocol):
    """What a question came to."""

    @property
    def word(self) -> str: ...


Fitted = TypeVar("Fitted")
Judged = TypeVar("Judged", bound=Worded)


def gathered(fitted: Iterable[Fitted], asked: Callable[[Fitted], Question]) -> list[list[Fitted]]:
    """The questions by their family; one without a family stands alone."""
    families: dict[str, list[Fitted]] = {}
    for one in fitted:
        families.setdefault(asked(one).family or f"alone: {asked(one).id}", []).append(one)
    return [*families.values()]


def judged(
    family: Sequence[Fitted],
    *,
    p: Callable[[Fitted], float],
    judge: Callable[[Fitted, int], Judged],
    rejects: Callable[[Fitted, Judged, int], bool],
) -> list[Judged]:
    """The questions of a family, strongest first, judged by Holm's steps.

    The strongest is judged at alpha / m, the next at alpha / (m - 1), and so on while they reject; from
    the first that does not, all are judged at that step's alpha. Those steps answer for "supported" alone:
    what they leave contradicted must be so at alpha / m of the whole family.

    Parameters
    ----------
    judge : the question with its alpha shared over so many
    rejects : whether the null hypothesis falls, judged with alpha shared over so many

    Source: Holm 1979, Scand. J. Statist. 6.
    """
    made: list[Judged] = []
    n, rejecting = len(family), True
    for one in sorted(family, key=p):
        found = judge(one, n)
        rejecting = rejecting and rejects(one, found, n)
        made.append(judge(one, len(family)) if found.word == "contradicted" and n < len(family) else found)
        n -= rejecting and n > 1
    return made
