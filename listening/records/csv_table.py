"""A table collected elsewhere: CSV in long form, columns in any order, a bad row named by its line."""

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from listening.errors import MissingFile, RecordError


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


def read(path: str | Path, columns: Sequence[str], *, optional: Sequence[str] = ()) -> CsvTable:
    """The named columns of a CSV file with a heading; `optional` ones where they are there.

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
            f"{path}, line 1: no column {', '.join(missing)}; found {', '.join(heading)}; "
            "name the columns as they stand in the heading"
        )
    wanted = [*dict.fromkeys(columns), *(name for name in optional if name in heading)]
    lines = [line for line, _ in rows]
    found = {name: [cells[heading.index(name)].strip() for _, cells in rows] for name in wanted}
    for name, cells in found.items():
        for cell, line in zip(cells, lines, strict=True):
            if cell == "":
                raise RecordError(
                    f"{path}, line {line}, column {name}: the cell is empty; fill it or delete the row"
                )
    return CsvTable(path, found, lines)


def _rows(path: Path) -> tuple[list[str], list[tuple[int, list[str]]]]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.reader(file)
            heading = [name.strip() for name in next(reader, [])]
            rows = [(reader.line_num, cells) for cells in reader if cells]
    except FileNotFoundError:
        raise MissingFile(f"{path}: no such file; give the path of a CSV table") from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise RecordError(f"{path}: not a readable CSV table in UTF-8 ({error})") from None
    if not heading:
        raise RecordError(f"{path}: the file is empty; wanted a heading and rows")
    doubled = sorted({name for name in heading if heading.count(name) > 1})
    if doubled:
        raise RecordError(f"{path}, line 1: column {', '.join(doubled)} stands twice; rename one")
    for line, cells in rows:
        if len(cells) != len(heading):
            raise RecordError(
                f"{path}, line {line}: found {len(cells)} cells, wanted {len(heading)} as in the heading"
            )
    if not rows:
        raise RecordError(f"{path}: no rows below the heading")
    return heading, rows
