"""A table of comparisons judged on one planned pair: direct answers decide, all others describe."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from stats.deciding import direct_share, level_bound, share_verdict, transitivity, verdict
from stats.deciding.direct_share import DirectShare
from stats.deciding.level_bound import Controls, LevelBound
from stats.deciding.share_verdict import Decided
from stats.deciding.transitivity import Transitivity
from stats.deciding.verdict import Kind, Word
from stats.errors import BadData

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Names = NDArray[np.str_]

NO_RESIDUAL = "{} is not given for the planned pair: what level does in it has no bound"


@dataclass(frozen=True)
class Comparisons:
    """Answers to paired comparisons, control pairs among them: one sound against itself at two levels."""

    listener: Names
    first: Names
    second: Names
    chosen: FloatArray
    """1 the first, 0 the second, 0.5 no difference."""
    strike_first: Names | None = None
    strike_second: Names | None = None
    level_db: Mapping[str, FloatArray] = field(default_factory=dict)
    """By metric, level of the first above the second; NaN where it is not known."""


@dataclass(frozen=True)
class OtherPair:
    """Another pair of the table, described."""

    first: str
    second: str
    chosen: float
    """Times the first was chosen; a tie counts half."""
    of: int
    listeners: int


@dataclass(frozen=True)
class PairVerdict:
    """What direct answers on the planned pair come to, and what the rest of the table says beside."""

    word: Word
    reason: str
    share: float | None
    """None where the two were never compared directly."""
    lower: float
    upper: float
    alpha: float
    listeners: int
    df: float | None
    """None with a single listener."""
    chosen: float
    of: int
    decided: Decided | None
    """None where fewer than two listeners met the pair."""
    transitivity: Transitivity | None
    others: tuple[OtherPair, ...]
    warnings: tuple[str, ...]


def judge(
    table: Comparisons,
    more: str,
    than: str,
    *,
    kind: Kind,
    smallest: float,
    alpha: float = 0.05,
    limit_outside: float = 0.25,
) -> PairVerdict:
    """The verdict on `more` against `than` from direct answers, and what the other pairs say beside.

    Parameters
    ----------
    table : answers of all pairs, control pairs included
    kind : `more` or `same`
    smallest : the smallest share of choices that matters, above 0.5
    alpha : one-sided
    limit_outside : `same` only: share of listeners who may hear a difference of their own that matters

    Raises
    ------
    BadData
        A name occurs in no row, the two are one, or level is known for some direct comparisons only.
    StatsError
        A number is out of range.
    """
    direct = _direct(table, more, than)
    first = table.first[direct] == more
    chosen = np.where(first, table.chosen[direct], 1 - table.chosen[direct])
    listeners = int(np.unique(table.listener[direct]).size)
    decided: Decided | None = None
    told: tuple[str, ...] = ()
    if listeners > 1:
        found = direct_share.estimate(
            chosen,
            table.listener[direct],
            strike_more=_strikes(table, direct, first, of_more=True),
            strike_than=_strikes(table, direct, first, of_more=False),
            more_first=first.astype(float),
            alpha=alpha,
        )
        level, told = _level(table, direct, first, found)
        decided = share_verdict.decide(
            found, kind, smallest=smallest, outside_limit=limit_outside, level=level
        )
        told = (*found.warnings, *told)
    return PairVerdict(
        word=decided.word if decided else "no verdict",
        reason=decided.reason if decided else verdict.too_few(listeners),
        share=decided.found.share if decided else float(chosen.mean()) if chosen.size else None,
        lower=decided.found.lower if decided else 0.0,
        upper=decided.found.upper if decided else 1.0,
        alpha=alpha,
        listeners=listeners,
        df=decided.found.df if decided else None,
        chosen=float(chosen.sum()),
        of=chosen.size,
        decided=decided,
        transitivity=_transitivity(table, more, than),
        others=_others(table, more, than),
        warnings=told,
    )


def _direct(table: Comparisons, more: str, than: str) -> IntArray:
    if more == than:
        raise BadData(f"planned pair: {more!r} against itself; name two different sounds")
    heard = set(table.first) | set(table.second)
    for name in (more, than):
        if name not in heard:
            raise BadData(f"planned pair: no row names {name!r}; found {', '.join(sorted(heard))}")
    forward = (table.first == more) & (table.second == than)
    return np.flatnonzero(forward | ((table.first == than) & (table.second == more)))


def _strikes(
    table: Comparisons, direct: IntArray, first: NDArray[np.bool_], *, of_more: bool
) -> Names | None:
    if table.strike_first is None or table.strike_second is None:
        return None
    return np.where(first == of_more, table.strike_first[direct], table.strike_second[direct])


def _level(
    table: Comparisons, direct: IntArray, first: NDArray[np.bool_], found: DirectShare
) -> tuple[tuple[LevelBound, ...], tuple[str, ...]]:
    bounds, told = [], []
    control = table.first == table.second
    for metric, level in table.level_db.items():
        residual = np.where(first, level[direct], -level[direct])
        if np.isnan(residual).all():
            told.append(NO_RESIDUAL.format(metric))
        elif np.isnan(residual).any():
            raise BadData(
                f"planned pair: {metric} is given for some direct comparisons only; wanted all or none"
            )
        elif residual.any():
            gained = control & (np.nan_to_num(level) != 0)
            bounds.append(
                level_bound.bound(
                    found, table.listener[direct], residual, _controls(table, gained, level), metric=metric
                )
            )
    return tuple(bounds), tuple(told)


def _controls(table: Comparisons, rows: NDArray[np.bool_], level: FloatArray) -> Controls:
    louder_first = level[rows] > 0
    return Controls(
        gain_db=np.abs(level[rows]),
        louder_chosen=np.where(louder_first, table.chosen[rows], 1 - table.chosen[rows]),
        listener=table.listener[rows],
        louder_first=louder_first.astype(float),
    )


def _transitivity(table: Comparisons, more: str, than: str) -> Transitivity | None:
    pairs = table.first != table.second
    names, number = np.unique(np.stack([table.first[pairs], table.second[pairs]]), return_inverse=True)
    number = number.reshape(2, -1)
    at = (int(np.searchsorted(names, more)), int(np.searchsorted(names, than)))
    listener = np.unique(table.listener[pairs], return_inverse=True)[1]
    return transitivity.test(listener, number[0], number[1], table.chosen[pairs], at)


def _others(table: Comparisons, more: str, than: str) -> tuple[OtherPair, ...]:
    """Every other pair, the two in the order of their names."""
    turned = table.first > table.second
    low = np.where(turned, table.second, table.first)
    high = np.where(turned, table.first, table.second)
    of_low = np.where(turned, 1 - table.chosen, table.chosen)
    found = []
    for one, two in sorted(set(zip(low.tolist(), high.tolist(), strict=True))):
        if one != two and {one, two} != {more, than}:
            rows = (low == one) & (high == two)
            n = int(np.unique(table.listener[rows]).size)
            found.append(OtherPair(one, two, float(of_low[rows].sum()), int(rows.sum()), n))
    return tuple(found)
