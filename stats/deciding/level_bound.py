"""Level's part in a share of choices, bounded by monotony: no slope, straight or other, is supposed.

A level difference of r dB cannot move answers more than a control pair (one sound against itself, one of the
two g dB louder) with g of at least r does. So each direct comparison with a residual is bounded by the share
at the next control gain at or above it. What is left of the share is estimated with the same listeners'
answers to those control pairs, so that both errors and what they share are in its limits.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from stats.deciding import direct_share, own_shares
from stats.deciding.direct_share import DirectShare
from stats.errors import BadData

FloatArray = NDArray[np.float64]

EVEN = 0.5
TOLERANCE_DB = 0.05  # a gain counts as at the residual up to here; also what gains of one size may differ by
TOLERANCE_RATIO = 0.1  # the same, as a share of the gain: what strikes measure about one nominal residual
FEWEST_LISTENERS = 2  # who heard a control gain, for its share to have an error


@dataclass(frozen=True)
class Controls:
    """Answers to control pairs: one sound against itself, one of the two louder."""

    gain_db: FloatArray
    """(k,) above 0."""
    louder_chosen: FloatArray
    """(k,) 1, 0, or 0.5 for no difference."""
    listener: NDArray[Any]
    """(k,)"""
    louder_first: FloatArray
    """(k,) 1 where the louder was heard first, 0 where second."""


@dataclass(frozen=True)
class GainUsed:
    """A control gain and how much of the direct comparisons it bounds."""

    gain_db: float | None
    """None where no control gain is at or above the residual: nothing bounds level there."""
    share: float
    """Of choices of the louder; 1 where nothing bounds it."""
    louder_more: float
    """Weight of the direct comparisons whose residual it bounds and makes `more` the louder."""
    louder_than: float
    listeners: int


@dataclass(frozen=True)
class LevelBound:
    """A share of choices with the largest part that level can have in it taken off, and added."""

    metric: str
    residual_db: float
    """Mean over listeners of the level of `more` above `than` in direct comparisons."""
    largest_db: float
    """Largest residual of a comparison, either way."""
    gains: tuple[GainUsed, ...]
    lowered: tuple[DirectShare, ...]
    """The share less level's part, for each direction in which level may move answers."""
    raised: tuple[DirectShare, ...]
    """The share with the part that level may have taken from it."""

    @property
    def unbounded(self) -> float:
        """Weight of direct comparisons whose residual is above every control gain."""
        return sum(g.louder_more + g.louder_than for g in self.gains if g.gain_db is None)


@dataclass(frozen=True)
class _Gain:
    gain_db: float | None
    share: float
    influence: FloatArray
    """(listeners,) of all, what each adds to this share; sums to zero."""
    listeners: int
    extra: float
    """Variance that stands in where all own shares are alike."""


def bound(
    found: DirectShare,
    listener: ArrayLike,
    residual_db: ArrayLike,
    controls: Controls,
    *,
    metric: str = "level",
) -> LevelBound:
    """The share with level's largest part taken off and added.

    Parameters
    ----------
    metric : name of the level, for messages
    listener, residual_db : (n,) of the direct comparisons that `found` is made of: who, and the level of
        `more` above `than`
    controls : their listeners are named as in `listener`

    Raises
    ------
    BadData
        Shapes differ, or a number is not finite.
    """
    who, residual = np.asarray(listener), np.asarray(residual_db, dtype=float)
    _check(who, residual, controls)
    weight = 1.0 / (np.unique(who, return_counts=True)[1][np.unique(who, return_inverse=True)[1]])
    weight = weight / found.listeners
    everybody = np.unique(np.concatenate([found.listener, controls.listener]))
    gains = _gains(controls, everybody)
    used, parts = [], []
    # the smallest gain at or above each residual; beyond all gains the last, which bounds nothing
    gains_db = np.array([gain.gain_db for gain in gains[:-1]], dtype=float)
    place = np.searchsorted(gains_db + tolerance_db(gains_db), np.abs(residual))
    for number, gain in enumerate(gains):
        at = place == number
        up = float(weight[at & (residual > 0)].sum())
        down = float(weight[at & (residual < 0)].sum())
        if up + down > 0:
            used.append(GainUsed(gain.gain_db, gain.share, up, down, gain.listeners))
            parts.append((gain, up, down))
    lowered = [_less(found, everybody, [(g, up) for g, up, _ in parts], louder_more=True, sign=1.0)]
    lowered += [_less(found, everybody, [(g, down) for g, _, down in parts], louder_more=False, sign=1.0)]
    raised = [_less(found, everybody, [(g, down) for g, _, down in parts], louder_more=True, sign=-1.0)]
    raised += [_less(found, everybody, [(g, up) for g, up, _ in parts], louder_more=False, sign=-1.0)]
    return LevelBound(
        metric=metric,
        residual_db=float(weight @ residual),
        largest_db=float(np.abs(residual).max()),
        gains=tuple(used),
        lowered=tuple(one for one in lowered if one is not None),
        raised=tuple(one for one in raised if one is not None),
    )


def _less(
    found: DirectShare,
    everybody: NDArray[Any],
    parts: Sequence[tuple[_Gain, float]],
    *,
    louder_more: bool,
    sign: float,
) -> DirectShare | None:
    """The share less (sign 1) or plus (-1) level's part, if the louder (or the softer) is chosen more."""
    kept = [(gain, weight) for gain, weight in parts if weight > 0]
    if not kept:
        return None
    towards = 1.0 if louder_more else -1.0
    influence = np.zeros(everybody.size)
    influence[np.searchsorted(everybody, found.listener)] = found.own_influence / found.listeners
    part, extra = 0.0, 0.0
    for gain, weight in kept:
        # beyond every gain level may do anything, whichever way it goes
        part += weight * (EVEN if gain.gain_db is None else towards * (gain.share - EVEN))
        influence = influence - sign * towards * weight * gain.influence
        extra += weight**2 * gain.extra
    df = min([found.listeners, *(gain.listeners for gain, _ in kept if gain.gain_db is not None)]) - 1.0
    return _moved(found, sign * part, influence, extra, df)


def _moved(found: DirectShare, part: float, influence: FloatArray, extra: float, df: float) -> DirectShare:
    n = int((influence != 0).sum())
    squares = float((influence**2).sum()) * n / max(n - 1, 1)
    floor = 0.0 if found.own_influence.any() else found.variance_listeners
    from_listeners = squares + extra + floor
    share = float(np.clip(found.share - part, 0.0, 1.0))
    variance = from_listeners + found.variance_strikes
    moved = replace(
        found,
        share=share,
        se=float(np.sqrt(variance)),
        variance_listeners=from_listeners,
        df_listeners=df,
        third_moment=direct_share.third_moment_of(influence * n),
        level_part=part,
    )
    return direct_share.at(moved, found.alpha)


def _gains(controls: Controls, everybody: NDArray[Any]) -> list[_Gain]:
    """Control gains from the smallest on, those of one size together; last, where nothing bounds level."""
    order = np.argsort(controls.gain_db, kind="stable")
    sorted_db = controls.gain_db[order]
    starts = np.flatnonzero(np.diff(sorted_db, prepend=-np.inf) > tolerance_db(sorted_db))
    found = [
        one
        for rows in np.split(order, starts[1:])
        if rows.size and (one := _gain(controls, rows, everybody)) is not None
    ]
    return [*found, _Gain(None, 1.0, np.zeros(everybody.size), 0, 0.0)]


def _gain(controls: Controls, rows: NDArray[np.int64], everybody: NDArray[Any]) -> _Gain | None:
    names, who = np.unique(controls.listener[rows], return_inverse=True)
    if names.size < FEWEST_LISTENERS:
        return None
    chosen, first = controls.louder_chosen[rows], 2.0 * controls.louder_first[rows] - 1.0
    own = own_shares.estimate(chosen, who.astype(np.int64), first)
    influence = np.zeros(everybody.size)
    influence[np.searchsorted(everybody, names)] = own.influence / names.size
    share = float(np.clip(own.share.mean(), 0.0, 1.0))
    alike = not (np.abs(own.influence) > 1e-10).any()
    extra = share * (1 - share) / rows.size if alike else 0.0
    return _Gain(float(controls.gain_db[rows].mean()), share, influence, names.size, extra)


def tolerance_db(gain_db: ArrayLike) -> FloatArray:
    """How far a residual may lie above a control gain of so many dB and still count as at it, dB.

    Parameters
    ----------
    gain_db : gains above 0, a number or an array
    """
    gain_db = np.asarray(gain_db, dtype=float)
    return np.asarray(np.maximum(TOLERANCE_DB, TOLERANCE_RATIO * gain_db))


def _check(who: NDArray[Any], residual: FloatArray, controls: Controls) -> None:
    if who.shape != residual.shape or not np.isfinite(residual).all():
        raise BadData("level bound: wanted one finite residual in dB for each direct comparison")
    shapes = {controls.louder_chosen.shape, controls.listener.shape, controls.louder_first.shape}
    if (
        shapes != {controls.gain_db.shape}
        or not (np.isfinite(controls.gain_db) & (controls.gain_db > 0)).all()
    ):
        raise BadData("level bound: wanted control gains above 0 dB, each with listener, order and answer")
