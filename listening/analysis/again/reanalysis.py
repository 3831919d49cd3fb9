"""The same analysis once more: for exports, and to see whether findings on disk are what the data give."""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from listening.analysis import full_analysis
from listening.analysis.opening import key_opening
from listening.analysis.opening.key_opening import Taken
from listening.errors import StudyError
from listening.records.found.findings import Findings
from listening.records.study import Study

RELATIVE = 1e-6  # numbers that agree so far are the same: other processors differ in the last bits


@dataclass(frozen=True)
class Difference:
    """One place where the findings on disk are not what the data give."""

    place: str
    on_disk: str
    from_data: str
    apart: float
    """Relative to the larger of the two and of 1; infinite where no number differs from a number."""

    @property
    def is_tiny(self) -> bool:
        """Last bits: another processor."""
        return self.apart <= RELATIVE


def reopened(study: Study, found: Findings, *, now: Callable[[], str]) -> Taken:
    """The study as it was analysed, the key opened again and the opening logged.

    Raises
    ------
    StudyError
        Something is not what was dealt any more, or the findings come from a look at counts alone.
    """
    if found.looks is not None and found.looks.counts_only:
        raise StudyError(
            f"{study.findings}: from a look before the end that was not planned, which shows counts of "
            "listeners and nothing of their answers; wait for the end"
        )
    return key_opening.look(study, now=now, **_asked(found))


def findings(study: Study, found: Findings, *, now: Callable[[], str]) -> Findings:
    """What the data give now; nothing is written but the log of the opening."""
    return full_analysis.from_study(study, now=now, **_asked(found))


def _asked(found: Findings) -> dict[str, Any]:
    """With which options the findings were made."""
    looks = found.looks
    interim = looks is not None and not looks.at_end
    return {
        "interim": interim,
        "closed": looks.closed if looks is not None else "",
        # before the end other answers would be another look
        "only_answers": found.digests.answers if interim else "",
    }


def differences(on_disk: Findings, from_data: Findings) -> list[Difference]:
    """Every place where the two differ, tiny differences too, versions of libraries left out."""
    one, other = on_disk.model_dump(mode="json"), from_data.model_dump(mode="json")
    for dumped in (one, other):
        dumped["method"].pop("versions")
        dumped.pop("version")
        dumped.pop("record")  # every opening adds a line; it is held against the record itself
        if not on_disk.sources:  # an earlier version took no hash of them
            dumped.pop("sources")
    return [
        Difference(place, str(a), str(b), _apart(a, b)) for place, a, b in _unlike("findings", one, other)
    ]


def _unlike(place: str, one: Any, other: Any) -> Iterator[tuple[str, Any, Any]]:
    if isinstance(one, dict) and isinstance(other, dict):
        for key in [*one, *(key for key in other if key not in one)]:
            yield from _unlike(f"{place}.{key}", one.get(key), other.get(key))
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        for i, (a, b) in enumerate(zip(one, other, strict=True)):
            yield from _unlike(f"{place}[{i}]", a, b)
    elif one != other:
        yield place, one, other


def _apart(one: Any, other: Any) -> float:
    if isinstance(one, float) and isinstance(other, float) and math.isfinite(one - other):
        return abs(one - other) / max(1.0, abs(one), abs(other))
    return math.inf
