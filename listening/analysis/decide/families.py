"""Planned questions that are corrected together: one set of steps, whatever the model that decides them."""

from collections.abc import Callable, Iterable, Sequence
from typing import Protocol, TypeVar

from listening.records.protocols.questions import Question

SUPPORTING = 0.8  # of a family's alpha; wrong "contradicted" may take the rest


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


def size(question: Question, questions: Iterable[Question]) -> int:
    """How many of the questions are corrected together with this one, itself among them."""
    return sum(q.family == question.family for q in questions) if question.family else 1


def even(alpha: float, size: int) -> float:
    """One alpha shared evenly: for limits that are described, and for one claim with `size` ways to fall.

    A superlative is such a claim: it holds or not, so one of its two words alone can be wrong and has the
    whole alpha; `supported` needs every comparison, `contradicted` any of them.
    """
    return alpha / max(size, 1)


def judged(
    family: Sequence[Fitted],
    *,
    p: Callable[[Fitted], float],
    judge: Callable[[Fitted, float], Judged],
    rejects: Callable[[Fitted, Judged, float], bool],
) -> list[Judged]:
    """The questions of a family, strongest first; wrong words of either kind together within its alpha.

    Of the family's alpha, SUPPORTING is for "supported", by Holm's steps: the strongest is judged at that
    over m, the next over m - 1, and so on while they reject; from the first that does not, all are judged at
    that step's. The rest is for "contradicted", shared evenly. One question alone can be wrong one way only,
    whatever the truth, and has the whole alpha for either.

    Parameters
    ----------
    judge : the question with its alpha divided by so much
    rejects : whether the null hypothesis falls, judged with alpha divided by so much

    Source: Holm 1979, Scand. J. Statist. 6; two families that share an alpha, Bonferroni.
    """
    if len(family) == 1:
        return [judge(family[0], 1.0)]
    contradicting = len(family) / (1 - SUPPORTING)
    made: list[Judged] = []
    n, rejecting = len(family), True
    for one in sorted(family, key=p):
        step = n / SUPPORTING
        found = judge(one, step)
        rejecting = rejecting and rejects(one, found, step)
        made.append(judge(one, contradicting) if found.word == "contradicted" else found)
        n -= rejecting and n > 1
    return made
