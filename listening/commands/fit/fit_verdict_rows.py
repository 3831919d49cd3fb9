"""The table of comparisons for a verdict as arrays, its slips named by line."""

import numpy as np
from numpy.typing import NDArray

from listening.errors import RecordError
from listening.records.forms import csv_table
from listening.records.forms.csv_table import CsvTable
from stats.deciding.planned_pair import Comparisons

COLUMNS = ("listener", "first", "second", "answer")
STRIKES = ("strike_first", "strike_second")
LEVEL = "level_db"
CHOSEN = {"first": 1.0, "tie": 0.5, "second": 0.0}


def read(path: str, more: str, than: str) -> Comparisons:
    """The comparisons of a table, fit to judge `more` against `than`.

    Raises
    ------
    MissingFile, RecordError
        The file, a column or a cell is not as it should be; or one of the two occurs in no row.
    """
    table = csv_table.read(path, COLUMNS, gappy=(*STRIKES, LEVEL))
    _check(table, more, than)
    first, second = np.array(table.columns["first"]), np.array(table.columns["second"])
    planned = _is_pair(first, second, more, than)
    return Comparisons(
        listener=np.array(table.columns["listener"]),
        first=first,
        second=second,
        chosen=np.array([CHOSEN[word.lower()] for word in table.columns["answer"]]),
        **_strikes(table, planned),
        level_db={
            name: _level(table, name, planned) for name in table.columns if name.split(":")[0] == LEVEL
        },
    )


def _check(table: CsvTable, more: str, than: str) -> None:
    for answer, line in zip(table.columns["answer"], table.lines, strict=True):
        if answer.lower() not in CHOSEN:
            raise RecordError(
                f"{table.path}, line {line}, column answer: found {answer!r}, wanted first, second or tie"
            )
    heard = set(table.columns["first"]) | set(table.columns["second"])
    for name in (more, than):
        if name not in heard:
            raise RecordError(
                f"{table.path}: no row names {name!r}; found {', '.join(sorted(heard))}; "
                "give --more and --than as they stand in the table"
            )


def _is_pair(first: NDArray[np.str_], second: NDArray[np.str_], more: str, than: str) -> NDArray[np.bool_]:
    return np.asarray(((first == more) & (second == than)) | ((first == than) & (second == more)))


def _strikes(table: CsvTable, planned: NDArray[np.bool_]) -> dict[str, NDArray[np.str_]]:
    """Both columns of strikes, or none."""
    there = [name for name in STRIKES if name in table.columns]
    if not there or not any(any(table.columns[name]) for name in there):
        return {}
    for name in STRIKES:
        if name not in table.columns:
            raise RecordError(f"{table.path}, line 1: {there[0]} without {name}; wanted both or neither")
        _check_full(table, name, planned)
    return {name: np.array(table.columns[name]) for name in STRIKES}


def _level(table: CsvTable, name: str, planned: NDArray[np.bool_]) -> NDArray[np.float64]:
    """A level column, NaN where empty; on control pairs the plain column stands in for an empty one."""
    cells = list(table.columns[name])
    spare = table.columns.get(LEVEL, cells)
    first, second = table.columns["first"], table.columns["second"]
    cells = [
        cell or (other if one == two else "")
        for cell, other, one, two in zip(cells, spare, first, second, strict=True)
    ]
    if any(cell for cell, is_planned in zip(cells, planned, strict=True) if is_planned):
        _check_full(table, name, planned)
    found = np.full(len(cells), np.nan)
    for row, (cell, line) in enumerate(zip(cells, table.lines, strict=True)):
        if cell:
            found[row] = _number(cell, f"{table.path}, line {line}, column {name}")
    return found


def _number(cell: str, where: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise RecordError(f"{where}: found {cell!r}, wanted a level difference in dB, first minus second")
    return value


def _check_full(table: CsvTable, name: str, planned: NDArray[np.bool_]) -> None:
    for cell, line, is_planned in zip(table.columns[name], table.lines, planned, strict=True):
        if is_planned and not cell:
            raise RecordError(
                f"{table.path}, line {line}, column {name}: the cell is empty on a row of the planned pair; "
                "fill it, or leave the column out"
            )
