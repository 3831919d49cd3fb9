"""A table of answers collected elsewhere as numbers, its slips named by line."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listening.analysis.imported.imported_table import Answered
from listening.errors import RecordError
from listening.records.dealt.imported import About
from listening.records.dealt.imported import Columns as Names
from listening.records.forms import csv_table
from listening.records.forms.csv_table import CsvTable
from stats.tables.columns import Columns

WORDS = {"first": 0, "tie": 1, "no difference": 1, "second": 2}
MOST_ANSWERS = 10_000_000  # of one row; more is a slip


def read(path: Path, about: About) -> Answered:
    """The answers in a table, each row with its counts of first, no difference and second.

    Raises
    ------
    MissingFile, RecordError
        No such file or column; a row that cannot be read is named by its line.
    """
    named, only = about.table.columns, about.table.only
    optional = [value for key, value in named.model_dump().items() if key not in ("first", "second")]
    table = _kept(csv_table.read(path, [named.first, named.second, *only], optional=optional), only)
    first, second = table.columns[named.first], table.columns[named.second]
    for one, other, line in zip(first, second, table.lines, strict=True):
        if one == other:
            raise RecordError(f"{path}, line {line}: {one!r} is compared with itself; mend or delete the row")
    stimuli = [table.columns.get(name) for name in (named.stimulus_first, named.stimulus_second)]
    return Answered(
        first=tuple(first),
        second=tuple(second),
        counts=_counts(table, named),
        listener=_optional(table.columns.get(named.listener)),
        stimuli=None if None in stimuli else (tuple(stimuli[0] or ()), tuple(stimuli[1] or ())),
    )


def _optional(cells: list[str] | None) -> tuple[str, ...] | None:
    return None if cells is None else tuple(cells)


def _kept(table: CsvTable, only: dict[str, str]) -> CsvTable:
    """The rows that hold the wanted text in each column of `only`."""
    kept = [i for i in range(table.n_rows) if all(table.columns[c][i] == text for c, text in only.items())]
    if not kept:
        wanted = ", ".join(f"{column} = {text!r}" for column, text in only.items())
        raise RecordError(f"{table.path}: no row has {wanted} (`only` in the file about the table)")
    columns = {name: [cells[i] for i in kept] for name, cells in table.columns.items()}
    return CsvTable(table.path, columns, [table.lines[i] for i in kept])


def _counts(table: CsvTable, named: Names) -> NDArray[np.int64]:
    """(rows, 3) how often first, neither and second were chosen."""
    counted = [named.chosen_first, named.no_difference, named.chosen_second]
    as_counts = named.chosen_first in table.columns and named.chosen_second in table.columns
    if as_counts == (named.answer in table.columns):
        raise RecordError(
            f"{table.path}, line 1: wanted either a column {named.answer} (first, second or tie) or the "
            f"columns {named.chosen_first} and {named.chosen_second} (counts), and not both; say in the file "
            "about the table what they are called there"
        )
    if as_counts:
        none = np.zeros(table.n_rows, dtype=np.int64)
        return np.column_stack([_whole(table, c) if c in table.columns else none for c in counted])
    made = np.zeros((table.n_rows, 3), dtype=np.int64)
    made[np.arange(table.n_rows), _words(table, named.answer)] = (
        _whole(table, named.count) if named.count in table.columns else 1
    )
    return made


def _words(table: CsvTable, column: str) -> list[int]:
    for word, line in zip(table.columns[column], table.lines, strict=True):
        if word.lower() not in WORDS:
            raise RecordError(
                f"{table.path}, line {line}, column {column}: found {word!r}, wanted first, second or tie"
            )
    return [WORDS[word.lower()] for word in table.columns[column]]


def _whole(table: CsvTable, column: str) -> NDArray[np.int64]:
    """Counts of answers."""
    values = Columns(str(table.path), table.columns, table.places).numbers(column)
    for value, line in zip(values, table.lines, strict=True):
        if value < 0 or value != int(value) or value > MOST_ANSWERS:
            raise RecordError(
                f"{table.path}, line {line}, column {column}: found {value:g}, wanted a whole number of "
                f"answers from 0 to {MOST_ANSWERS}"
            )
    return values.astype(np.int64)
