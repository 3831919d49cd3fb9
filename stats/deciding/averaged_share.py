"""Several direct shares taken together: each listener's mean over pairs, listeners and strikes as samples.

A main effect is the mean over the levels of another factor, a trend that over steps, an interaction the mean
of one share and of another turned round: half the difference of the two lies above even chances.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stats.deciding import direct_share
from stats.deciding.direct_share import DirectShare
from stats.deciding.own_shares import OwnShares
from stats.deciding.strike_variance import StrikeVariance
from stats.errors import BadData


def average(
    parts: Sequence[DirectShare], *, alpha: float, shares_strikes: bool = False, weights: Sequence[float] = ()
) -> DirectShare:
    """The weighted mean of shares of the same listeners, with limits at 1 - alpha.

    Each listener's own shares are averaged first: whatever goes together in one listener's answers to the
    pairs is in the spread of these means. Strikes of different pairs are different sounds, so their variances
    add up; where pairs share a condition their strikes go together, and the sum of standard errors bounds it.

    Parameters
    ----------
    parts : one pair each, all of the same listeners, each by `direct_share.estimate`
    shares_strikes : whether a condition occurs in more than one pair
    weights : of each part, adding up to 1; equal if not given

    Raises
    ------
    BadData
        No part, listeners that are not the same, or weights that do not add up to 1.

    Source: a contrast of within-listener means is tested on each listener's own contrast score; for any
    correlation of shared strikes the standard error is at most the weighted sum (triangle inequality).
    """
    w = (
        np.full(len(parts), 1.0 / max(len(parts), 1))
        if not len(weights)
        else np.asarray(weights, dtype=float)
    )
    _check(parts, w)
    own = OwnShares(
        share=np.sum([a * one.own for a, one in zip(w, parts, strict=True)], axis=0),
        influence=np.sum([a * one.own_influence for a, one in zip(w, parts, strict=True)], axis=0),
        pull=_pull(parts, w),
        lopsided=0.0,
    )
    named = [one.strikes for one in parts if one.strikes]
    counts = tuple(min(side) for side in zip(*named, strict=True)) if len(named) == len(parts) else ()
    found = direct_share.of_own_shares(
        own, _strikes(parts, w, shares_strikes), sum(one.of for one in parts), counts
    )
    told = dict.fromkeys([*found.warnings, *(warning for one in parts for warning in one.warnings)])
    joined = replace(
        found,
        chosen=sum(one.chosen for one in parts),
        listener=parts[0].listener,
        own_counts=np.sum([one.own_counts for one in parts], axis=0),
        own_chosen=np.sum([one.own_chosen for one in parts], axis=0),
        ties=sum(one.ties for one in parts),
        warnings=tuple(told),
    )
    return direct_share.at(joined, alpha)


def _pull(parts: Sequence[DirectShare], weights: direct_share.FloatArray) -> float | None:
    pulls = [one.order for one in parts]
    if any(pull is None for pull in pulls):
        return None
    return float(sum(w * pull for w, pull in zip(weights, pulls, strict=True) if pull is not None))


def _strikes(
    parts: Sequence[DirectShare], weights: direct_share.FloatArray, shares_strikes: bool
) -> StrikeVariance:
    variances = [one.variance_strikes for one in parts]
    df = [one.df_strikes for one in parts]
    if not shares_strikes:
        return StrikeVariance(tuple(w**2 * v for w, v in zip(weights, variances, strict=True)), tuple(df))
    together = sum(w * math.sqrt(v) for w, v in zip(weights, variances, strict=True))
    return StrikeVariance((float(together) ** 2,), (min(df),))


def _check(parts: Sequence[DirectShare], weights: direct_share.FloatArray) -> None:
    if not parts or weights.shape != (len(parts),) or not math.isclose(float(weights.sum()), 1.0):
        raise BadData(
            f"averaged share: {len(parts)} shares and weights {weights}; wanted weights that sum to 1"
        )
    if any(not np.array_equal(one.listener, parts[0].listener) for one in parts):
        raise BadData("averaged share: wanted the same listeners in every share")
