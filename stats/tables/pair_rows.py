"""The table of paired comparisons as numbers, its slips named by line."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray
from stats.pairs import comparisons
from stats.pairs.comparisons import Comparisons
from stats.tables.columns import Columns
from stats.tables.pair_options import PairOptions

CODES = {"first": 1, "tie": 0, "second": -1}
ROUNDING = 0.01  # share of a covariate's spread that rounding in the table may make up


@dataclass(frozen=True)
class Rows:
    """The table's rows as numbers: one row each, not added up."""

    items: tuple[str, ...]
    first: IntArray
    second: IntArray
    answer: IntArray
    """1 first, 0 tie, -1 second."""
    count: FloatArray
    covariates: FloatArray
    covariate_names: tuple[str, ...]
    listener: IntArray | None
    listeners: tuple[str, ...]


def read(table: Columns, covariates: Sequence[str]) -> Rows:
    """The rows of a table with columns first, second, answer, and perhaps count, listener, covariates.

    Raises
    ------
    BadData
        A count below 0, or a column that is missing.
    """
    first, second = table.cells["first"], table.cells["second"]
    _check_pairs(table)
    names = tuple(sorted(set(first) | set(second)))
    number = {name: j for j, name in enumerate(names)}
    count = table.numbers("count") if "count" in table.cells else np.ones(table.n_rows)
    for value, place in zip(count, table.places, strict=True):
        if value < 0:
            raise BadData(f"{place}, column count: found {value:g}, wanted 0 or more")
    listener, listeners = None, np.zeros(0, dtype=str)
    if "listener" in table.cells:
        listeners, codes = np.unique(table.cells["listener"], return_inverse=True)
        listener = codes.astype(np.int64)
    x = [table.numbers(name) for name in covariates]
    return Rows(
        items=names,
        first=np.array([number[name] for name in first], dtype=np.int64),
        second=np.array([number[name] for name in second], dtype=np.int64),
        answer=np.array([CODES[word.lower()] for word in table.cells["answer"]], dtype=np.int64),
        count=count,
        covariates=np.column_stack(x) if x else np.zeros((table.n_rows, 0)),
        covariate_names=tuple(covariates),
        listener=listener,
        listeners=tuple(map(str, listeners)),
    )


def _check_pairs(table: Columns) -> None:
    cells = zip(table.cells["first"], table.cells["second"], table.cells["answer"], table.places, strict=True)
    for first, second, answer, place in cells:
        if answer.lower() not in CODES:
            raise BadData(f"{place}, column answer: found {answer!r}, wanted first, second or tie")
        if first == second:
            raise BadData(f"{place}: {first!r} is compared with itself; mend or delete the row")


def check_options(options: PairOptions, rows: Rows, source: str) -> None:
    """Hold the options against the rows of a table.

    Parameters
    ----------
    source : the table's name, for messages

    Raises
    ------
    BadData
        Ties and no model of them, no such item, or a name that an estimate needs.
    """
    ties = rows.count[rows.answer == 0].sum()
    if ties and not options.ties:
        raise BadData(
            f"{source}: {ties:g} answers are ties; choose how to model them with --ties davidson "
            "or --ties rao-kupper, or take the rows out"
        )
    if options.reference and options.reference not in rows.items:
        raise BadData(f"--reference {options.reference}: no such item; found {', '.join(rows.items)}")
    kept = {"order"} if options.order else set()
    kept |= {"davidson": {"log_nu"}, "rao-kupper": {"eta"}}.get(options.ties or "", set())
    taken = kept & {*rows.items, *rows.covariate_names}
    if taken:
        raise BadData(f"{', '.join(sorted(taken))}: this name is kept for an estimate; rename it")


def add_up(rows: Rows) -> tuple[Comparisons, FloatArray, IntArray]:
    """Comparisons, an entry for each different pair (and covariates); the covariates; entry of each row."""
    if rows.covariate_names:
        cells = np.column_stack([rows.first, rows.second, rows.covariates])
        kept, where = np.unique(cells, axis=0, return_inverse=True)
    else:
        kept, where = np.unique(np.column_stack([rows.first, rows.second]), axis=0, return_inverse=True)
    where = where.ravel()
    counts = [np.bincount(where, rows.count * (rows.answer == code), len(kept)) for code in (1, 0, -1)]
    pairs = kept[:, :2].astype(np.int64)
    data = Comparisons(rows.items, pairs[:, 0], pairs[:, 1], *(np.asarray(c, dtype=float) for c in counts))
    return data, np.ascontiguousarray(kept[:, 2:], dtype=np.float64), where


def belong_to_items(rows: Rows) -> bool:
    """Whether each covariate is a difference of values that the items have, but for rounding in the table."""
    places = np.arange(rows.first.size)
    incidence = np.zeros((places.size, len(rows.items)))
    incidence[places, rows.first] += 1.0
    incidence[places, rows.second] -= 1.0
    values = np.linalg.lstsq(incidence, rows.covariates, rcond=None)[0]
    left = rows.covariates - incidence @ values
    return bool((left.std(axis=0) <= ROUNDING * rows.covariates.std(axis=0)).all())


def free_columns(options: PairOptions, rows: Rows) -> tuple[FloatArray, tuple[str, ...], str | None]:
    """Fixed columns of a mixed model: covariates or free strengths, then the order; names; the reference.

    Raises
    ------
    BadData
        One item only.
    """
    order = [np.ones((rows.first.size, 1))] if options.order else []
    last = ("order",) if options.order else ()
    if rows.covariate_names:
        return np.hstack([rows.covariates, *order]), rows.covariate_names + last, None
    data = add_up(rows)[0]
    comparisons.check_connected(data)
    zero = options.reference or rows.items[0]
    others = [j for j, name in enumerate(rows.items) if name != zero]
    both = (rows.first[:, None] == others).astype(float) - (rows.second[:, None] == others)
    if not others:
        raise BadData("one item only: nothing to compare")
    return np.hstack([both, *order]), tuple(rows.items[j] for j in others) + last, zero
