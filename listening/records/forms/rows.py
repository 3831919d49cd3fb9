"""Tables of text as spreadsheets write them: commas, semicolons, tabs; a byte-order mark or none."""

import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from listening.errors import RecordError
from listening.records.forms.text import read_text

SEPARATORS = (",", ";", "\t")
LONGEST_CELL = 1_000_000  # characters
MOST_COLUMNS = 2_000
_NUMBER = re.compile(r"[+-]?\d+(,\d+)?([eE][+-]?\d+)?")
FORMULA = ("=", "+", "-", "@")  # a cell that begins so is a formula to a spreadsheet


@dataclass(frozen=True)
class Rows:
    """A heading and the rows below it; cells without blanks around them."""

    path: Path
    heading: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    lines: tuple[int, ...]
    """The line of the file on which each row ends, from 1."""
    separator: str

    def dicts(self) -> list[dict[str, str]]:
        """Each row by its heading; rows must be as long as the heading."""
        return [dict(zip(self.heading, cells, strict=True)) for cells in self.cells]

    def with_decimal_points(self) -> tuple[tuple[str, ...], ...]:
        """The cells, where the sheet wrote decimal commas: numbers of a column of numbers with points."""
        if self.separator == ",":
            return self.cells
        columns = [_with_points(column) for column in zip(*self.cells, strict=True)]
        return tuple(zip(*columns, strict=True))

    def uneven(self) -> int | None:
        """The first row whose number of cells is not the heading's, or None."""
        n = len(self.heading)
        return next((i for i, cells in enumerate(self.cells) if len(cells) != n), None)


def read(path: Path) -> Rows:
    """The table in a file; empty lines are left out, and a sheet's own `sep=` line is understood.

    Raises
    ------
    MissingFile, RecordError
        The file cannot be read, a heading stands twice, there are too many columns, or a quote is not closed.
    """
    text = read_text(path)
    skipped = 0
    if text[:4].lower() == "sep=" and text[4:5] in SEPARATORS:
        text, skipped = text[text.find("\n") + 1 :], 1
    separator = _separator(text)
    found: list[tuple[int, tuple[str, ...]]] = []
    try:
        csv.field_size_limit(LONGEST_CELL)
        reader = csv.reader(io.StringIO(text), delimiter=separator, strict=True)
        for cells in reader:
            if any(cell.strip() for cell in cells):
                found.append((reader.line_num + skipped, tuple(cell.strip() for cell in cells)))
    except csv.Error as error:
        raise RecordError(
            f"{path}, line {reader.line_num + skipped}: no table ({error}); mend that line, or save it again"
        ) from error
    if not found:
        raise RecordError(f"{path}: no heading and no rows; wanted a table")
    heading = found[0][1]
    _check_heading(path, heading)
    lines, cells_of = zip(*found[1:], strict=True) if len(found) > 1 else ((), ())
    return Rows(path, heading, cells_of, lines, separator)


def number(cell: str, separator: str = ",") -> float:
    """A cell as a number; where cells are not parted by commas, a comma may be the decimal sign.

    Raises
    ------
    ValueError
        It is no number, or not a finite one.
    """
    text = cell.replace(",", ".") if separator != "," and cell.count(",") == 1 and "." not in cell else cell
    value = float(text) if text.isascii() and "_" not in text else float("nan")
    if not abs(value) < float("inf"):
        raise ValueError(f"{cell!r} is not a finite number")
    return value


def _with_points(column: tuple[str, ...]) -> tuple[str, ...]:
    if any(cell and not _NUMBER.fullmatch(cell) for cell in column):
        return column
    return tuple(cell.replace(",", ".") for cell in column)


def to_text(heading: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table as CSV with commas; what a spreadsheet would run as a formula is quoted, see `quoted`."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([quoted(cell) for cell in heading])
    writer.writerows([quoted(cell) for cell in row] for row in rows)
    return text.getvalue()


def quoted(cell: object) -> object:
    """The cell with an apostrophe before it, where a spreadsheet would run it; numbers stay as they are."""
    if not isinstance(cell, str) or not cell.lstrip().startswith(FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell


def _separator(text: str) -> str:
    """The sign that parts most cells of the heading, outside its quotes; a comma if none does."""
    line, inside = Counter[str](), False
    for sign in text.lstrip("\n")[:LONGEST_CELL]:
        if sign == '"':
            inside = not inside
        elif sign == "\n" and not inside:
            break
        elif not inside:
            line[sign] += 1
    return max(SEPARATORS, key=lambda sign: line[sign])


def _check_heading(path: Path, heading: tuple[str, ...]) -> None:
    if len(heading) > MOST_COLUMNS:
        raise RecordError(
            f"{path}, line 1: {len(heading)} columns, wanted at most {MOST_COLUMNS}; one recording or answer "
            "a row, not a column"
        )
    if doubled := sorted(name for name, n in Counter(heading).items() if n > 1 and name):
        raise RecordError(f"{path}, line 1: column {', '.join(doubled[:5])} stands twice; rename one")
