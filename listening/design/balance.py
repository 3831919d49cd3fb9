"""What a plan balances exactly and what only nearly, by counting."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from listening.design.trial import Trial


@dataclass(frozen=True)
class Line:
    """One counted property over all slots."""

    what: str
    smallest: int
    largest: int

    @property
    def exact(self) -> bool:
        """Whether every count is the same."""
        return self.smallest == self.largest


def report(slots: Sequence[Sequence[tuple[bool, Trial]]], condition: dict[str, str]) -> list[Line]:
    """Counts over all slots: pairs, which comes first, stimuli, neighbours, first attribute.

    Parameters
    ----------
    slots : (is practice, trial) in order, a sequence a slot
    condition : the condition of each stimulus
    """
    counted = [[pair for practice, pair in slot if not practice] for slot in slots]
    every = [pair for slot in counted for pair in slot if not pair.is_control]
    controls = [pair for slot in counted for pair in slot if pair.is_control]
    groups = Counter((p.attribute, p.group) for p in every)
    leads = Counter((p.attribute, p.group, condition[p.first.stimulus]) for p in every)
    return [
        _line("hearings of each pair of conditions", groups.values()),
        _line("hearings of a pair with a given condition first", leads.values()),
        _line("hearings of each stimulus", _stimuli(every).values()),
        _line("control pairs with the stronger clip first, against second", _control_leads(controls)),
        _line(
            "slots that begin with each attribute", Counter(slot[0].attribute for slot in counted).values()
        ),
        _line("neighbouring trials of the same pair, per slot", [_repeats(slot) for slot in counted]),
    ]


def _line(what: str, counts: Iterable[int]) -> Line:
    numbers = list(counts)
    return Line(what, min(numbers, default=0), max(numbers, default=0))


def _stimuli(pairs: list[Trial]) -> Counter[tuple[str, str]]:
    return Counter((p.attribute, s.stimulus) for p in pairs for s in (p.first, p.second))


def _control_leads(pairs: list[Trial]) -> list[int]:
    first = sum(p.first.gain_db > p.second.gain_db for p in pairs)
    second = sum(p.first.gain_db < p.second.gain_db for p in pairs)
    return [first, second]


def _repeats(slot: list[Trial]) -> int:
    return sum(a.group == b.group and not a.is_control for a, b in pairwise(slot))
