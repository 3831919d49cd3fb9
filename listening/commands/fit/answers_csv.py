"""A CSV file of answers as columns for a fit."""

from collections.abc import Sequence
from pathlib import Path

from listening.records.forms import csv_table
from stats.tables.columns import Columns


def read(path: str | Path, columns: Sequence[str], *, optional: Sequence[str] = ()) -> Columns:
    """The named columns, a bad cell named by file and line.

    Raises
    ------
    MissingFile, RecordError
        As `csv_table.read` has it.
    """
    table = csv_table.read(path, columns, optional=optional)
    return Columns(str(table.path), table.columns, table.places)
