"""A table of the page: the text of every cell, rounded; nothing computed."""

from dataclasses import dataclass

from listening.report.rounding import p_value

Row = tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """Caption, head and cells; `numeric` and `mono` number the columns set that way."""

    caption: str
    head: Row
    rows: tuple[Row, ...]
    numeric: frozenset[int] = frozenset()
    mono: frozenset[int] = frozenset()


def without_empty_note(table: Table) -> Table:
    """The table without its last column if no row has anything there."""
    if any(row[-1] for row in table.rows):
        return table
    rows = tuple(row[:-1] for row in table.rows)
    return Table(table.caption, table.head[:-1], rows, table.numeric, table.mono)


def p_text(p: float | None) -> str:
    """A p-value under a heading that says p."""
    return p_value(p).removeprefix("= ")


def hundred_limits(found: object) -> str:
    lower, upper = getattr(found, "lower", None), getattr(found, "upper", None)
    return "–" if lower is None or upper is None else f"{round(100 * lower)} to {round(100 * upper)}"
