"""A table or a sentence as lines of at most 80 columns."""

import textwrap
from collections.abc import Collection

from listening.report.tables.table_form import Table

COLUMNS = 80
GAP = "  "


def lines(table: Table, *, leave_out: Collection[int] = (), short: dict[str, str] | None = None) -> list[str]:
    """Caption, head and rows; numbers to the right; what is left over of a long last cell goes below its row.

    Parameters
    ----------
    leave_out : columns that the screen has no room for
    short : cell texts and what stands for them
    """
    kept = [i for i in range(len(table.head)) if i not in leave_out]
    rows = [[(short or {}).get(row[i], row[i]) for i in kept] for row in (table.head, *table.rows)]
    last = len(kept) - 1
    widths = [max(len(row[i]) for row in rows) for i in range(last)]
    made = wrapped(table.caption)
    for row in rows:
        cells = [
            f"{row[i]:>{widths[i]}}" if kept[i] in table.numeric else f"{row[i]:<{widths[i]}}"
            for i in range(last)
        ]
        line = GAP.join([*cells, row[last]]).rstrip()
        if len(line) > COLUMNS:
            made.append(GAP.join(cells).rstrip())
            made += textwrap.wrap(row[last], COLUMNS, initial_indent="    ", subsequent_indent="    ")
        else:
            made.append(line)
    return made


def wrapped(sentence: str) -> list[str]:
    """A sentence over as many lines as it needs."""
    return textwrap.wrap(sentence, COLUMNS)
