"""The page's section on what was compared over strikes: words first, tables behind them."""

from collections.abc import Sequence
from dataclasses import dataclass

from listening.records.found.comparison import Comparison
from listening.report.sentences import sayings
from listening.report.tables import comparison_tables
from listening.report.tables.table_form import Table

LINES = 2  # of the words: what holds of this comparison; what sayings mean stands once, below the last


@dataclass(frozen=True)
class Section:
    """One comparison as the page shows it."""

    heading: str
    lines: tuple[str, ...]
    rows: Table
    octaves: Table
    partials: Table
    elsewhere: Table | None
    """whether the two differ elsewhere as they do here; None where that was not asked"""


def of_all(compared: Sequence[Comparison]) -> list[Section]:
    """A section a comparison; the last also says what sayings mean."""
    return [_section(c, is_last=c is compared[-1]) for c in compared]


def _section(found: Comparison, *, is_last: bool) -> Section:
    lines = sayings.of_comparison(found)
    told = sayings.of_elsewhere(found)
    return Section(
        heading=f"{found.a} with {found.b}",
        lines=(*lines[:LINES], *told, *(lines[LINES:] if is_last else ())),
        rows=comparison_tables.rows(found),
        octaves=comparison_tables.bands(found, 1),
        partials=comparison_tables.partials(found),
        elsewhere=comparison_tables.elsewhere(found) if found.elsewhere else None,
    )
