"""What a study's page compares: the two values of a factor, and few things with each other under both."""

from collections.abc import Callable, Mapping, Sequence
from itertools import combinations

from listening.metrics.comparison import compared
from listening.metrics.comparison.strike_data import Strike
from listening.records.found.comparison import Comparison
from listening.records.sounds.recordings_table import Recording
from listening.steps import differences_elsewhere

TWO = 2  # values of a factor whose comparisons the page shows
MOST_ELSEWHERE = 4  # designs that are held against each other under both values; more: `listening compare`

Condition = tuple[str, ...]
Sides = Mapping[Condition, Sequence[Strike]]


def has_two(recordings: Sequence[Recording], place: int) -> bool:
    """Whether the factor at this place has two values."""
    return len({r.factors[place] for r in recordings}) == TWO


def of_factors(
    recordings: Sequence[Recording],
    factors: Sequence[str],
    strikes: Sequence[Strike],
    *,
    length_s: float,
    label: Callable[[str], str] | None = None,
) -> list[Comparison]:
    """For each factor of two values, the values compared within each combination of the other factors.

    Where there are two to four such combinations, each two of them as well under the first value, and
    whether their difference stays under the second. `label` says how a condition is called.
    """
    if len({(s.rate_hz, s.calibrated) for s in strikes}) > 1:
        return []  # `check` names it
    sides: dict[Condition, list[Strike]] = {}
    for recording, strike in zip(recordings, strikes, strict=True):
        sides.setdefault(recording.factors, []).append(strike)
    page = _Page(sides, label, length_s)
    found: list[Comparison] = []
    for place, _ in enumerate(factors):
        if has_two(recordings, place):
            found += page.of_factor(place, list(dict.fromkeys(r.factors[place] for r in recordings)))
    once: dict[tuple[str, str], Comparison] = {}
    for one in found:  # of two by two, each pair comes up twice: once with what it is elsewhere
        if one.elsewhere or (one.a, one.b) not in once:
            once[one.a, one.b] = one
    return list(once.values())


class _Page:
    """The comparisons that the conditions of one study allow."""

    def __init__(self, sides: Sides, label: Callable[[str], str] | None, length_s: float) -> None:
        self.sides, self.label, self.length_s = sides, label, length_s

    def of_factor(self, place: int, values: list[str]) -> list[Comparison]:
        """The two values within each rest, then few rests with each other under both values."""
        rests = list(dict.fromkeys(c[:place] + c[place + 1 :] for c in self.sides))
        both = [tuple((*r[:place], value, *r[place:]) for value in values) for r in rests]
        both = [pair for pair in both if all(c in self.sides for c in pair)]
        found = [self._form(self._compared(*pair)) for pair in both]
        if len(both) > MOST_ELSEWHERE:
            return found
        for one, other in combinations(both, 2):
            here, there = (self._compared(one[i], other[i]) for i in (0, 1))
            made = self._form(here)
            found.append(differences_elsewhere.added(made, here.rows, there.rows, place=values[1]))
        return found

    def _compared(self, a: Condition, b: Condition) -> compared.Comparison:
        names = (self._called(a, b), self._called(b, a))
        return compared.of_strikes(
            self.sides[a], self.sides[b], names=names, length_s=self.length_s, above_db=None
        )

    def _called(self, condition: Condition, other: Condition) -> str:
        """Its label, else its values, what tells it from the other last."""
        apart = [i for i, value in enumerate(condition) if value != other[i]]
        alike = [i for i in range(len(condition)) if i not in apart]
        if self.label is not None:
            return self.label("/".join(condition))
        return " ".join(condition[i] for i in (*alike, *apart))

    @staticmethod
    def _form(made: compared.Comparison) -> Comparison:
        return Comparison.model_validate(made.as_dict())
