"""A comparison with what the same two differ by elsewhere."""

from collections.abc import Sequence
from dataclasses import asdict

from listening.metrics.comparison import elsewhere
from listening.metrics.comparison.rows import Row
from listening.records.found.comparison import ComparedStay, Comparison


def added(found: Comparison, here: Sequence[Row], there: Sequence[Row], *, place: str = "") -> Comparison:
    """The comparison, and metric by metric whether its difference stays in a place; `here` are its rows."""
    stays = tuple(ComparedStay(**asdict(one)) for one in elsewhere.of_rows(here, there))
    return found.model_copy(update={"elsewhere": stays, "place": place})
