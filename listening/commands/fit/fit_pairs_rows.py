"""The table of paired comparisons as numbers, its slips named by line."""

import argparse
from dataclasses import dataclass

import numpy as np

from listening.commands.fit.fit_table import Table
from listening.errors import RecordError
from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray
from stats.pairs import comparisons
from stats.pairs.comparisons import Comparisons

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


def of(table: Table, covariates: list[str]) -> Rows:
    """The rows of a table with columns first, second, answer, and perhaps count, listener, covariates."""
    first, second = table.columns["first"], table.columns["second"]
    _check_pairs(table)
    names = tuple(sorted(set(first) | set(second)))
    number = {name: j for j, name in enumerate(names)}
    count = table.numbers("count") if "count" in table.columns else np.ones(table.n_rows)
    for value, line in zip(count, table.lines, strict=True):
        if value < 0:
            raise RecordError(f"{table.path}, line {line}, column count: found {value:g}, wanted 0 or more")
    listener, listeners = None, np.zeros(0, dtype=str)
    if "listener" in table.columns:
        listeners, codes = np.unique(table.columns["listener"], return_inverse=True)
        listener = codes.astype(np.int64)
    x = [table.numbers(name) for name in covariates]
    return Rows(
        items=names,
        first=np.array([number[name] for name in first], dtype=np.int64),
        second=np.array([number[name] for name in second], dtype=np.int64),
        answer=np.array([CODES[word.lower()] for word in table.columns["answer"]], dtype=np.int64),
        count=count,
        covariates=np.column_stack(x) if x else np.zeros((table.n_rows, 0)),
        covariate_names=tuple(covariates),
        listener=listener,
        listeners=tuple(map(str, listeners)),
    )


def _check_pairs(table: Table) -> None:
    cells = zip(
        table.columns["first"], table.columns["second"], table.columns["answer"], table.lines, strict=True
    )
    for first, second, answer, line in cells:
        if answer.lower() not in CODES:
            raise RecordError(
                f"{table.path}, line {line}, column answer: found {answer!r}, wanted first, second or tie"
            )
        if first == second:
            raise RecordError(
                f"{table.path}, line {line}: {first!r} is compared with itself; mend or delete the row"
            )


def check_options(args: argparse.Namespace, rows: Rows) -> None:
    """Raise RecordError where options do not fit the table or each other."""
    ties = rows.count[rows.answer == 0].sum()
    if ties and not args.ties:
        raise RecordError(
            f"{args.table}: {ties:g} answers are ties; choose how to model them with --ties davidson "
            "or --ties rao-kupper, or take the rows out"
        )
    if args.correlated and not args.slopes:
        raise RecordError(
            "--correlated is about the slopes that vary over listeners: name them with --slopes"
        )
    if args.reference and args.covariates:
        raise RecordError("--reference names an item's strength, which --covariates replace: leave one out")
    if args.reference and args.reference not in rows.items:
        raise RecordError(f"--reference {args.reference}: no such item; found {', '.join(rows.items)}")
    kept = {"order"} if args.order else set()
    kept |= {"davidson": {"log_nu"}, "rao-kupper": {"eta"}}.get(args.ties, set())
    taken = kept & {*rows.items, *rows.covariate_names}
    if taken:
        raise RecordError(f"{', '.join(sorted(taken))}: this name is kept for an estimate; rename it")


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


def free_columns(args: argparse.Namespace, rows: Rows) -> tuple[FloatArray, tuple[str, ...], str | None]:
    """Fixed columns of a mixed model: covariates or free strengths, then the order; names; the reference."""
    order = [np.ones((rows.first.size, 1))] if args.order else []
    last = ("order",) if args.order else ()
    if rows.covariate_names:
        return np.hstack([rows.covariates, *order]), rows.covariate_names + last, None
    data = add_up(rows)[0]
    comparisons.check_connected(data)
    zero = args.reference or rows.items[0]
    others = [j for j, name in enumerate(rows.items) if name != zero]
    both = (rows.first[:, None] == others).astype(float) - (rows.second[:, None] == others)
    if not others:
        raise BadData("one item only: nothing to compare")
    return np.hstack([both, *order]), tuple(rows.items[j] for j in others) + last, zero
