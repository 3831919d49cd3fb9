"""The chance of a verdict on the share of direct choices, by the limits that will decide; no simulation."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import special

from stats.deciding import direct_share, listeners_outside, strike_variance
from stats.deciding.verdict import MINIMUM_LISTENERS
from stats.errors import StatsError
from stats.mixed import marginal_share

FloatArray = NDArray[np.float64]

EVEN = 0.5
_PLACES, _LISTENER_PLACES = 24, 8  # equally likely values of each variance found
_FACTOR_PLACES = 1000  # and of what estimates share


@dataclass(frozen=True)
class PlannedPair:
    """How often a pair is compared, and what is supposed of listeners and strikes; log-odds."""

    listeners: int
    answers: int
    """Of each listener to this pair."""
    strikes: tuple[int, ...]
    """Of either sound; a side with one is the recording itself."""
    logit: float
    """Of the mean listener."""
    spread_listeners: float = 0.0
    spread_strikes: float = 0.0
    """Of one strike about its sound."""
    lapses: float = 0.0
    pairs: int = 1
    """Of several pairs decided by their mean each is as told above."""
    mean_part: float = 1.0
    """Variance of the mean of the pairs' own effects, by listener and strike, relative to one pair's."""
    shares_strikes: bool = False
    """Whether a sound occurs in several pairs: then the sum of standard errors bounds what strikes do."""


@dataclass(frozen=True)
class LevelTaken:
    """What level's largest part takes off the share, in one of several cases that exclude each other."""

    chance: float
    """Of this case; what all cases lack of 1 is level that no control gain bounds."""
    part: float
    """Of the share."""
    variance: float
    """Of the part, from listeners and their answers to the control pairs."""


LEVEL_ASIDE = (LevelTaken(1.0, 0.0, 0.0),)


@dataclass(frozen=True)
class Expected:
    """What the share is made of; variances of the panel's share."""

    share: float
    from_listeners: float
    """Their own shares and the noise of their answers."""
    noise: float
    """Of the answers alone."""
    from_strikes: tuple[float, ...]
    """A part for each side with several strikes."""


def expected(pair: PlannedPair) -> Expected:
    """Mean and variances of the share, from normal listeners and strikes.

    Raises
    ------
    StatsError
        Fewer than two listeners, or no answer.
    """
    if pair.listeners < 2 or pair.answers < 1 or min(pair.strikes, default=1) < 1:
        raise StatsError(
            f"share power: {pair.listeners} listeners, {pair.answers} answers each, {pair.strikes} strikes; "
            "wanted at least 2 listeners, an answer and a strike"
        )
    several = [k for k in pair.strikes if k > 1]
    strikes_sd = pair.spread_strikes * len(pair.strikes) ** 0.5
    share = _heard(pair, [0.0], np.hypot(pair.spread_listeners, strikes_sd))[0]
    own, weights = own_shares(pair)
    of_listeners = float(weights @ (own - share) ** 2)
    nodes, weights = _normal()
    rest = np.hypot(pair.spread_listeners, pair.spread_strikes * (len(pair.strikes) - 1) ** 0.5)
    of_strike = float(weights @ (_heard(pair, pair.spread_strikes * nodes, rest) - share) ** 2)
    each = max(share * (1 - share) - of_listeners - len(pair.strikes) * of_strike, 0.0) / pair.answers
    noise = each / (pair.listeners * pair.pairs)
    from_listeners = pair.mean_part * of_listeners / pair.listeners + noise
    return Expected(share, from_listeners, noise, tuple(pair.mean_part * of_strike / k for k in several))


def own_shares(pair: PlannedPair) -> tuple[FloatArray, FloatArray]:
    """Listeners' own shares over all strikes, and how likely each is."""
    nodes, weights = _normal()
    strikes_sd = pair.spread_strikes * len(pair.strikes) ** 0.5
    return _heard(pair, pair.spread_listeners * nodes, strikes_sd), weights


def more(
    pair: PlannedPair, *, smallest: float, alpha: float, level: Sequence[LevelTaken] = LEVEL_ASIDE
) -> float:
    """Chance that `more` is supported: the lower limit above even chances, the share at least `smallest`.

    Parameters
    ----------
    pair : listeners, strikes, hearings and how they vary
    alpha : one-sided error probability, above 0, below 0.5
    level : what level's largest part takes off; both must hold without it
    """
    if pair.listeners < MINIMUM_LISTENERS:
        return 0.0
    what = expected(pair)
    return sum(one.chance * _above(pair, what, one, smallest, alpha) for one in level)


def all_of(chances: Sequence[float], shared: float) -> float:
    """Chance that all verdicts are supported, each with its own chance, their estimates equally correlated.

    Parameters
    ----------
    chances : of each
    shared : correlation of two estimates, 0 to below 1

    Source: one common factor of equally correlated normal variables, Dunnett & Sobel 1955, Biometrika 42.
    """
    factor = special.ndtri((np.arange(_FACTOR_PLACES) + 0.5) / _FACTOR_PLACES)
    places = special.ndtri(np.clip(chances, 1e-12, 1 - 1e-12))
    each = special.ndtr((places[:, None] - np.sqrt(shared) * factor) / np.sqrt(1 - shared))
    return float(each.prod(axis=0).mean())


def both(one: float, other: float, correlation: float) -> float:
    """Chance that two correlated normal estimates both pass, each with its own chance.

    Parameters
    ----------
    one, other : chances of each
    correlation : of the two, above -1, below 1
    """
    if min(one, other) <= 0:
        return 0.0
    passing = special.ndtri(one * (np.arange(_FACTOR_PLACES) + 0.5) / _FACTOR_PLACES)
    limit = special.ndtri(min(other, 1 - 1e-12))
    given = special.ndtr((limit - correlation * passing) / np.sqrt(1 - correlation**2))
    return float(one * given.mean())


def called_less(pair: PlannedPair, control: PlannedPair, *, alpha: float) -> float:
    """Chance that a pair is called louder less often than a control pair of a gain: a limit of what is heard.

    Parameters
    ----------
    pair : of the question which is louder
    control : one sound against itself at the gain, asked the same
    alpha : one-sided error probability, above 0, below 0.5
    """
    if min(pair.listeners, control.listeners) < 2:
        return 0.0
    what, there = expected(pair), expected(control)
    turned = replace(what, share=1 - what.share)
    return _above(pair, turned, LevelTaken(1.0, EVEN - there.share, there.from_listeners), EVEN, alpha)


def _above(pair: PlannedPair, what: Expected, level: LevelTaken, smallest: float, alpha: float) -> float:
    """Chance that the share less level's part reaches `smallest`, and its lower limit even chances."""
    moved = replace(what, share=what.share - level.part, from_listeners=what.from_listeners + level.variance)
    reach, sd = _reach(pair, moved, alpha)
    return float(special.ndtr((moved.share - np.maximum(EVEN + reach, smallest)) / sd).mean())


def same(
    pair: PlannedPair,
    *,
    smallest: float,
    alpha: float,
    limit_outside: float,
    level: Sequence[LevelTaken] = LEVEL_ASIDE,
) -> float:
    """Chance that `same` is supported: limits inside even chances -+, and few enough listeners outside.

    The two are taken as independent, which is on the safe side: both are likely where answers are even.

    Parameters
    ----------
    pair : listeners, strikes, hearings and how they vary
    smallest : share of choices that matters, above 0.5
    alpha : one-sided error probability, above 0, below 0.5
    limit_outside : share of listeners that may hear a difference of their own
    level : what level's largest part takes off the lower limit and adds to the upper one
    """
    if pair.listeners < MINIMUM_LISTENERS:
        return 0.0
    what = expected(pair)
    inside = sum(one.chance * _inside(pair, what, one, smallest, alpha) for one in level)
    own, weights = own_shares(pair)
    few = listeners_outside.power(
        pair.listeners,
        pair.answers,
        delta=smallest - EVEN,
        limit=limit_outside,
        alpha=alpha,
        own=own,
        weights=weights,
    )
    return inside * few


def _inside(pair: PlannedPair, what: Expected, level: LevelTaken, smallest: float, alpha: float) -> float:
    moved = replace(what, from_listeners=what.from_listeners + level.variance)
    reach, sd = _reach(pair, moved, alpha)
    reach = reach + level.part
    above = special.ndtr((smallest - reach - what.share) / sd)
    below = special.ndtr((1 - smallest + reach - what.share) / sd)
    return float(np.maximum(above - below, 0.0).mean())


def _reach(pair: PlannedPair, what: Expected, alpha: float) -> tuple[FloatArray, float]:
    """How far a limit lies from the share, in equally likely cases; and the share's own deviation."""
    places = (np.arange(_PLACES) + 0.5) / _PLACES
    df = pair.listeners - 1.0
    of_listeners = (np.arange(_LISTENER_PLACES) + 0.5) / _LISTENER_PLACES
    listeners = what.from_listeners * special.chdtri(df, of_listeners) / df
    # the mean over pairs of other sounds has the strikes of all; over shared sounds a pair's bound it
    pooled, whole = (1, 1 / pair.mean_part) if pair.shares_strikes else (pair.pairs, 1.0)
    noise = what.noise * (pair.pairs if pair.shares_strikes else 1)
    several = [pooled * (k - 1.0) for k in pair.strikes if k > 1]
    grids = np.meshgrid(listeners, *(places for _ in several), indexing="ij")
    parts = []
    for part, own_df, place in zip(what.from_strikes, several, grids[1:], strict=True):
        found = (whole * part + noise) * special.chdtri(own_df, place) / own_df
        parts.append(np.maximum(found - strike_variance.noise_taken_off(own_df / pooled) * noise, 0.0))
    total = np.sum(parts, axis=0) if parts else np.zeros_like(grids[0])
    scatter = sum((v**2 / d for v, d in zip(parts, several, strict=True)), np.zeros_like(total))
    with np.errstate(divide="ignore", invalid="ignore"):
        joint = np.where(total > 0, total**2 / scatter, df)
    n_parts = len(parts) * pooled if len(parts) else 0
    critical = direct_share.critical_value(
        grids[0], df, total, joint, alpha, strikes_part=direct_share.part_of_alpha(n_parts)
    )
    reach = np.asarray(critical * np.sqrt(grids[0] + total))
    return reach, float(np.sqrt(what.from_listeners + sum(what.from_strikes)))


def _heard(pair: PlannedPair, about: FloatArray | list[float], sd: float) -> FloatArray:
    """Share of choices where the log-odds lie so far about the mean listener's, over a normal spread."""
    shares = np.array([marginal_share.share(pair.logit + float(one), float(sd)) for one in about])
    return np.asarray(pair.lapses / 2 + (1 - pair.lapses) * shares)


def _normal() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.hermite_e.hermegauss(21)
    return nodes, weights / weights.sum()
