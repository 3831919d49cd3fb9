"""Random terms of a mixed model and the block structure that their levels give the solve."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray, as_floats


@dataclass(frozen=True)
class RandomTerm:
    """Effects that vary over the levels of one grouping (listeners, stimuli), for n rows.

    Row i gets sum over s, j of weight[i, s] * columns[i, j] * b[level[i, s], j], where each level's k
    effects b are drawn from one normal distribution with mean zero.
    """

    name: str
    level: IntArray
    """(n, t) number of the level, from 0; t = 2 where two levels enter (first and second stimulus)."""
    weight: FloatArray
    """(n, t) signed weights: +1 for the first and -1 for the second; ones for a plain grouping."""
    columns: FloatArray
    """(n, k) what the effects multiply: ones for an intercept, covariate values for slopes."""
    column_names: tuple[str, ...] = ("",)
    """k names; an empty name means the term's own name."""
    correlated: bool = False
    """Whether the k effects of a level are correlated (k > 1)."""
    n_levels: int = field(default=0)

    def spread_names(self) -> tuple[str, ...]:
        """Name of each column's standard deviation: `term` or `term:column`."""
        return tuple(f"{self.name}:{column}" if column else self.name for column in self.column_names)


def term(
    name: str,
    level: IntArray,
    columns: FloatArray | None = None,
    *,
    weight: FloatArray | None = None,
    column_names: Sequence[str] | None = None,
    correlated: bool = False,
) -> RandomTerm:
    """A checked random term; random intercepts unless `columns` are given.

    Parameters
    ----------
    name : of the grouping
    column_names : one a column of `columns`
    correlated : whether the effects of a level are
    level : (n,) or (n, t) integers from 0
    columns : (n,) or (n, k)
    weight : (n, t), ones if not given

    Raises
    ------
    BadData
        Shapes disagree, a level is negative, a value is not finite, a column is zero throughout.
    """
    level = np.ascontiguousarray(level, dtype=np.int64)
    level = level[:, None] if level.ndim == 1 else level
    n = level.shape[0]
    columns = np.ones((n, 1)) if columns is None else as_floats(columns).reshape(n, -1)
    weight = np.ones(level.shape) if weight is None else as_floats(weight).reshape(n, -1)
    width = columns.shape[1]
    names = tuple(column_names) if column_names is not None else ("",) if width == 1 else None
    names = tuple(str(j + 1) for j in range(width)) if names is None else names
    if weight.shape != level.shape or len(names) != width or n == 0:
        raise BadData(
            f"random term {name!r}: levels {level.shape}, weights {weight.shape}, columns {columns.shape} "
            f"and {len(names)} names do not fit together"
        )
    if level.min() < 0 or not (np.isfinite(columns).all() and np.isfinite(weight).all()):
        raise BadData(f"random term {name!r}: levels count from 0 and values must be finite")
    if not np.abs(weight).any() or not np.abs(columns).any(axis=0).all():
        raise BadData(f"random term {name!r}: a column is zero throughout, so its effect cannot be seen")
    return RandomTerm(
        name, level, weight, columns, names, correlated and width > 1, n_levels=int(level.max()) + 1
    )


def pair_term(name: str, first: IntArray, second: IntArray) -> RandomTerm:
    """Random effects of stimuli (or listener x condition cells) that enter as first minus second.

    Parameters
    ----------
    name : of the grouping; first, second : (n,) level numbers
    """
    first, second = np.asarray(first), np.asarray(second)
    weight = np.tile([1.0, -1.0], (first.size, 1))
    return term(name, np.stack([first, second], axis=1), weight=weight)


@dataclass(frozen=True)
class Slots:
    """The runs of positions in a row that share one lower-triangular factor (one level of one part)."""

    start: IntArray
    size: IntArray
    theta: IntArray
    """Where the part's factor starts in theta (rows of the lower triangle in order); -1: no factor, one."""


@dataclass(frozen=True)
class Structure:
    """Z in positions: every row has the same number of non-zero places; columns ordered by blocks.

    Columns 0 .. n_block-1 touch rows of one group only and stand group by group; the rest cross groups.
    """

    z: FloatArray
    """(n, p) values."""
    column: IntArray
    """(n, p) column of each value."""
    slots: Slots
    group: IntArray
    """(n,) group of each row."""
    group_start: IntArray
    """(g + 1,) first column of each group's block."""
    n_block: int
    n_crossed: int
    prior: FloatArray
    """(q,) prior precision of each column: 1, or 0 for a fixed effect that is integrated too."""
    n_theta: int
    parts: tuple[tuple[int, int, int, int], ...]
    """For each part: term number, first column in the term, size, start in theta."""
    where: tuple[IntArray, ...]
    """For each term: (levels, k) column in the ordering, -1 for a level that no row has."""

    @property
    def n_columns(self) -> int:
        return self.n_block + self.n_crossed


def build(terms: Sequence[RandomTerm], flat: FloatArray | None = None) -> Structure:
    """Structure of `terms`, with the fixed columns `flat` (n, p) integrated under a flat prior if given.

    Raises
    ------
    BadData
        Terms with different numbers of rows.
    """
    n = terms[0].level.shape[0] if terms else 0 if flat is None else flat.shape[0]
    if any(one.level.shape[0] != n for one in terms):
        raise BadData("random terms have different numbers of rows")
    seen = [np.unique(one.level, return_inverse=True) for one in terms]
    levels = [inverse.reshape(one.level.shape) for one, (_, inverse) in zip(terms, seen, strict=True)]
    widths = [one.columns.shape[1] for one in terms]
    offsets = np.cumsum([0] + [used.size * k for (used, _), k in zip(seen, widths, strict=True)])
    z, column, slots, parts, n_theta = _positions(terms, levels, offsets, n)
    n_random = int(offsets[-1])
    group, column_group = _blocks(terms, column, offsets, n)
    order = np.argsort(np.where(column_group < 0, np.iinfo(np.int64).max, column_group), kind="stable")
    rank = np.empty(n_random, dtype=np.int64)
    rank[order] = np.arange(n_random)
    n_groups = int(group.max()) + 1 if n else 0
    sizes = np.bincount(column_group[column_group >= 0], minlength=n_groups)
    n_block = int(sizes.sum())
    column = rank[column]
    prior = np.ones(n_random)
    if flat is not None:
        z, column, slots, prior = _add_flat(z, column, slots, prior, flat)
    return Structure(
        z=np.ascontiguousarray(z),
        column=np.ascontiguousarray(column),
        slots=slots,
        group=group,
        group_start=np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64),
        n_block=n_block,
        n_crossed=prior.size - n_block,
        prior=prior,
        n_theta=n_theta,
        parts=tuple(parts),
        where=tuple(
            _places(one, used, rank[offsets[t] : offsets[t + 1]])
            for t, (one, (used, _)) in enumerate(zip(terms, seen, strict=True))
        ),
    )


def _places(one: RandomTerm, used: IntArray, rank: IntArray) -> IntArray:
    places = np.full((one.n_levels, one.columns.shape[1]), -1, dtype=np.int64)
    places[used] = rank.reshape(used.size, -1)
    return places


def _positions(
    terms: Sequence[RandomTerm], levels: Sequence[IntArray], offsets: IntArray, n: int
) -> tuple[FloatArray, IntArray, Slots, list[tuple[int, int, int, int]], int]:
    values, columns, start, size, theta = [], [], [], [], []
    parts: list[tuple[int, int, int, int]] = []
    position = n_theta = 0
    for t, one in enumerate(terms):
        k = one.columns.shape[1]
        pieces = [(0, k)] if one.correlated else [(j, 1) for j in range(k)]
        for first, width in pieces:
            parts.append((t, first, width, n_theta))
            for s in range(one.level.shape[1]):
                values.append(one.weight[:, [s]] * one.columns[:, first : first + width])
                columns.append(offsets[t] + levels[t][:, [s]] * k + np.arange(first, first + width))
                start.append(position)
                size.append(width)
                theta.append(n_theta)
                position += width
            n_theta += width * (width + 1) // 2
    z = np.hstack(values) if values else np.zeros((n, 0))
    column = np.hstack(columns) if columns else np.zeros((n, 0), dtype=np.int64)
    slots = Slots(np.array(start, dtype=np.int64), np.array(size, dtype=np.int64), np.array(theta, np.int64))
    return z, column, slots, parts, n_theta


def _add_flat(
    z: FloatArray, column: IntArray, slots: Slots, prior: FloatArray, flat: FloatArray
) -> tuple[FloatArray, IntArray, Slots, FloatArray]:
    n, p = flat.shape
    places = np.arange(p)
    wider = Slots(
        np.concatenate([slots.start, z.shape[1] + places]),
        np.concatenate([slots.size, np.ones(p, dtype=np.int64)]),
        np.concatenate([slots.theta, np.full(p, -1)]),
    )
    columns = np.hstack([column, np.tile(prior.size + places, (n, 1))])
    return np.hstack([z, flat]), columns, wider, np.concatenate([prior, np.zeros(p)])


def _blocks(
    terms: Sequence[RandomTerm], column: IntArray, offsets: IntArray, n: int
) -> tuple[IntArray, IntArray]:
    """Group of each row and of each column (-1: crosses groups), by the cheapest of the terms' groupings."""
    n_random = int(offsets[-1])
    best = (np.zeros(n, dtype=np.int64), np.full(n_random, -1, dtype=np.int64))
    best_cost = _cost(best[1])
    for one in terms:
        group = _linked_rows(one, n)
        column_group = _column_groups(column, group, n_random)
        cost = _cost(column_group)
        if cost < best_cost:
            best, best_cost = (group, column_group), cost
    return best


def _linked_rows(one: RandomTerm, n: int) -> IntArray:
    """Rows that share a level, directly or through others, have the same number."""
    rows = np.repeat(np.arange(n), one.level.shape[1])
    links = coo_array(
        (np.ones(rows.size), (rows, n + one.level.ravel())), shape=(n + one.n_levels, n + one.n_levels)
    )
    labels = connected_components(links.tocsr(), directed=False)[1][:n]
    return np.unique(labels, return_inverse=True)[1].astype(np.int64)


def _column_groups(column: IntArray, group: IntArray, n_random: int) -> IntArray:
    lowest = np.full(n_random, np.iinfo(np.int64).max)
    highest = np.full(n_random, -1, dtype=np.int64)
    wide = np.broadcast_to(group[:, None], column.shape)
    np.minimum.at(lowest, column, wide)
    np.maximum.at(highest, column, wide)
    return np.where(lowest == highest, lowest, -1)


def _cost(column_group: IntArray) -> float:
    """Rough count of multiplications of one factorisation."""
    inside = column_group[column_group >= 0]
    crossed = column_group.size - inside.size
    sizes = np.bincount(inside) if inside.size else np.zeros(1)
    return float((sizes.astype(float) ** 3).sum() + inside.size * crossed**2 + float(crossed) ** 3)
