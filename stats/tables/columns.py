"""A table of answers as columns of text, a bad cell named by its place; from a data frame or from a file."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.errors import BadData

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.likelihood import FloatArray


LARGEST = 1e15  # beyond this a double does not tell whole numbers apart, and squares leave its range


@dataclass(frozen=True)
class Columns:
    """Columns of text of one length, none of them empty."""

    source: str
    """What a message calls the table: a path, or `the table`."""
    cells: Mapping[str, Sequence[str]]
    places: Sequence[str]
    """Of each row, as a message names it: `answers.csv, line 7`."""

    @property
    def n_rows(self) -> int:
        return len(self.places)

    def is_number(self, name: str) -> bool:
        """Whether most cells of the column are numbers, so that a cell that is not is a slip."""
        return sum(map(_is_number, self.cells[name])) > self.n_rows / 2

    def numbers(self, name: str) -> "FloatArray":
        """The column as finite numbers, none above 1e15 in size.

        Raises
        ------
        BadData
            A cell is no such number.
        """
        for cell, place in zip(self.cells[name], self.places, strict=True):
            if not _is_number(cell):
                raise BadData(
                    f"{place}, column {name}: found {cell!r}, wanted a number; mend or delete the row"
                )
        return np.array(self.cells[name], dtype=np.float64)


def of_frame(
    frame: "pd.DataFrame | Columns", wanted: Sequence[str], *, optional: Sequence[str] = ()
) -> Columns:
    """The named columns of a data frame; `optional` ones where they are there.

    Parameters
    ----------
    wanted : names that must be there
    frame : one answer a row; a `Columns` that was made already is handed through

    Raises
    ------
    BadData
        No such column, no rows, or an empty cell.
    """
    if isinstance(frame, Columns):
        return frame
    found = [str(name) for name in frame.columns]
    missing = [name for name in wanted if name not in found]
    if missing:
        raise BadData(
            f"the table has no column {', '.join(missing)}; found {', '.join(found)}; name the columns as "
            "they stand in the table"
        )
    places = [f"the table, row {label}" for label in frame.index]
    if not places:
        raise BadData("the table has no rows")
    kept = [*dict.fromkeys(wanted), *(name for name in optional if name in found)]
    cells = {name: [_text(value) for value in frame[name]] for name in kept}
    for name, column in cells.items():
        for cell, place in zip(column, places, strict=True):
            if cell == "":
                raise BadData(f"{place}, column {name}: the cell is empty; fill it or delete the row")
    return Columns("the table", cells, places)


def _text(value: object) -> str:
    """A cell as a CSV table would hold it, so that both are read the same way."""
    if value is None or type(value).__name__ in ("NAType", "NaTType"):
        return ""
    return "" if isinstance(value, float) and math.isnan(value) else str(value).strip()


def _is_number(cell: str) -> bool:
    try:
        return abs(float(cell)) <= LARGEST
    except ValueError:
        return False
