"""A table collected elsewhere: CSV in long form, columns in any order, a bad row named by its line."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from listening.errors import RecordError
from listening.records.forms import rows as rows_of


@dataclass(frozen=True)
class CsvTable:
    """Columns of text, with the line of the file that each row came from."""

    path: Path
    columns: dict[str, list[str]]
    lines: list[int]

    @property
    def n_rows(self) -> int:
        return len(self.lines)

    @property
    def places(self) -> list[str]:
        """Of each row, as a message names it."""
        return [f"{self.path}, line {line}" for line in self.lines]


def read(
    path: str | Path, columns: Sequence[str], *, optional: Sequence[str] = (), gappy: Sequence[str] = ()
) -> CsvTable:
    """The named columns of a CSV file with a heading; `optional` and `gappy` ones where they are there.

    Parameters
    ----------
    gappy : optional columns whose cells may be empty; each with all columns named so before a colon

    Raises
    ------
    MissingFile, RecordError
        No such file; no such column; no rows; a row with too few or too many cells, or an empty one.
    """
    path = Path(path)
    heading, rows = _rows(path)
    missing = [name for name in columns if name not in heading]
    if missing:
        raise RecordError(
            f"{path}, line 1: no column {', '.join(missing)}; found {_some(heading)}; "
            "name the columns as they stand in the heading"
        )
    loose = [name for name in heading if name.split(":")[0] in gappy]
    wanted = [*dict.fromkeys(columns), *(name for name in optional if name in heading), *loose]
    lines = [line for line, _ in rows]
    at = {name: heading.index(name) for name in wanted}
    found = {name: [cells[place] for _, cells in rows] for name, place in at.items()}
    for name, cells in found.items():
        for cell, line in zip(cells, lines, strict=True):
            if cell == "" and name not in loose:
                raise RecordError(
                    f"{path}, line {line}, column {name}: the cell is empty; fill it or delete the row"
                )
    return CsvTable(path, found, lines)


def _rows(path: Path) -> tuple[tuple[str, ...], list[tuple[int, tuple[str, ...]]]]:
    table = rows_of.read(path)
    if (uneven := table.uneven()) is not None:
        raise RecordError(
            f"{path}, line {table.lines[uneven]}: found {len(table.cells[uneven])} cells, wanted "
            f"{len(table.heading)} as in the heading"
        )
    if not table.cells:
        raise RecordError(f"{path}: no rows below the heading")
    return table.heading, list(zip(table.lines, table.with_decimal_points(), strict=True))


def _some(heading: Sequence[str]) -> str:
    return ", ".join(heading[:12]) + (", ..." if len(heading) > 12 else "")
