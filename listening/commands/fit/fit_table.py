"""A table collected elsewhere: CSV in long form, columns in any order, a bad row named by its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listening.errors import RecordError
from listening.records import rows as rows_of

LARGEST = 1e15  # beyond this a double no longer tells whole numbers apart


@dataclass(frozen=True)
class Table:
    """Columns of text, with the line of the file that each row came from."""

    path: Path
    columns: dict[str, list[str]]
    lines: list[int]

    @property
    def n_rows(self) -> int:
        return len(self.lines)

    separator: str = ","

    def is_number(self, name: str) -> bool:
        """Whether most cells of the column are numbers, so that a cell that is not is a slip."""
        return sum(self._number(cell) is not None for cell in self.columns[name]) > self.n_rows / 2

    def numbers(self, name: str) -> NDArray[np.float64]:
        """The column as finite numbers."""
        numbers = []
        for cell, line in zip(self.columns[name], self.lines, strict=True):
            number = self._number(cell)
            if number is None:
                raise RecordError(
                    f"{self.path}, line {line}, column {name}: found {cell[:60]!r}, wanted a number up to "
                    f"{LARGEST:g}; mend or delete the row"
                )
            numbers.append(number)
        return np.array(numbers, dtype=np.float64)

    def _number(self, cell: str) -> float | None:
        try:
            number = rows_of.number(cell, self.separator)
        except ValueError:
            return None
        return number if abs(number) <= LARGEST else None


def read(path: str | Path, columns: Sequence[str], *, optional: Sequence[str] = ()) -> Table:
    """The named columns of a CSV file with a heading; `optional` ones where they are there.

    Raises
    ------
    MissingFile, RecordError
        No such file; no such column; no rows; a row with too few or too many cells, or an empty one.
    """
    path = Path(path)
    heading, rows, separator = _rows(path)
    missing = [name for name in columns if name not in heading]
    if missing:
        raise RecordError(
            f"{path}, line 1: no column {', '.join(missing)}; found {_some(heading)}; "
            "name the columns as they stand in the heading"
        )
    wanted = [*dict.fromkeys(columns), *(name for name in optional if name in heading)]
    lines = [line for line, _ in rows]
    places = {name: heading.index(name) for name in wanted}
    found = {name: [cells[place] for _, cells in rows] for name, place in places.items()}
    for name, cells in found.items():
        for cell, line in zip(cells, lines, strict=True):
            if cell == "":
                raise RecordError(
                    f"{path}, line {line}, column {name}: the cell is empty; fill it or delete the row"
                )
    return Table(path, found, lines, separator)


def _rows(path: Path) -> tuple[tuple[str, ...], list[tuple[int, tuple[str, ...]]], str]:
    table = rows_of.read(path)
    if (uneven := table.uneven()) is not None:
        raise RecordError(
            f"{path}, line {table.lines[uneven]}: found {len(table.cells[uneven])} cells, wanted "
            f"{len(table.heading)} as in the heading"
        )
    if not table.cells:
        raise RecordError(f"{path}: no rows below the heading")
    return table.heading, list(zip(table.lines, table.cells, strict=True)), table.separator


def _some(heading: Sequence[str]) -> str:
    return ", ".join(heading[:12]) + (", ..." if len(heading) > 12 else "")
