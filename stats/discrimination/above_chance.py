"""Were two things told apart? Answers with a right one, listeners and stimuli both taken as samples."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from stats import t_interval
from stats.discrimination.critical_counts import chance_of_at_least
from stats.errors import BadData, StatsError
from stats.fixed.likelihood import FloatArray, IntArray, as_floats
from stats.linear import linear_mixed
from stats.linear.linear_mixed import LinearMixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm

LISTENER = "listener"
EXACT, SAMPLED = "exact counts", "listeners and recordings as samples"


@dataclass(frozen=True)
class ToldApart:
    """How often a difference was heard beyond guessing; `bounds` gives its limits at an alpha."""

    heard: float
    """Share of trials heard, not guessed: (right - guess) / (1 - guess); same-different: share called
    different of pairs that differ, minus that of pairs that are alike. Below 0 by chance only."""
    p: float
    """One-sided, against guessing: the larger of the exact test's and the model's."""
    p_exact: float
    se: float | None
    """None where the model could not be fitted (every answer right): the counts alone give the bounds."""
    df: float | None
    spread_listeners: float | None
    """Standard deviation of the listeners' own shares heard."""
    spread_stimuli: float | None
    """Of one stimulus about its kind; None where each kind has one."""
    n_right: int
    """Right answers; same-different: pairs that differ and were called different."""
    n_asked: int
    """Trials; same-different: pairs that differ."""
    n_listeners: int
    own: FloatArray
    """(listeners,) share heard of each listener's own trials, by level number."""
    guess: float | None
    """Share right by guessing; None for same-different."""
    n_false: int = 0
    """Same-different: pairs that are alike and were called different."""
    n_alike: int = 0


@dataclass(frozen=True)
class Bounds:
    """One-sided bounds of the share heard, each at 1 - alpha."""

    lower: float
    upper: float
    by: str


def forced_choice(
    right: ArrayLike, listener: IntArray, stimuli: Sequence[IntArray], *, guess: float
) -> ToldApart:
    """Triangle, duo-trio, 2-AFC: the share of trials heard.

    Listeners and the stimuli of either kind are samples, in a linear mixed model of the answers. Student's t
    has the smaller of listeners - 1 and stimuli - kinds degrees of freedom.

    Parameters
    ----------
    right : (n,) 1 where the answer was right
    listener : (n,) numbers from 0
    stimuli : for each kind, (n,) the number of its stimulus in each trial
    guess : share right by guessing: 1/3 triangle, 1/2 duo-trio and 2-AFC

    Raises
    ------
    StatsError, BadData
        A number is out of range, or there are fewer than two listeners.

    Source: exact test as in ISO 4120 and ISO 10399. Under guessing the answers of one listener do not hang
    together, so it holds for repeated trials as well: Kunert & Meyners 1999, Food Qual. Prefer. 10.
    """
    y = as_floats(right)
    _check(y, listener)
    if not 0 < guess < 1:
        raise StatsError(f"told apart: guessing rate {guess:g}, wanted between 0 and 1")
    n_right, n = int(y.sum()), y.size
    terms = [random_terms.term(LISTENER, listener), *_stimulus_terms(stimuli, np.ones(n))]
    own = (np.bincount(listener, y) / np.bincount(listener) - guess) / (1 - guess)
    return _found(
        _fit((y - guess) / (1 - guess), np.ones((n, 1)), terms),
        heard=(n_right / n - guess) / (1 - guess),
        p_exact=chance_of_at_least(n_right, n, guess),
        df=_df(listener, stimuli),
        counts=(n_right, n, 0, 0),
        own=own,
        guess=guess,
    )


def same_different(
    different: ArrayLike, is_different: ArrayLike, listener: IntArray, stimuli: Sequence[IntArray]
) -> ToldApart:
    """Same-different: hits minus false alarms, modelled as `forced_choice`, with an exact test by listener.

    Parameters
    ----------
    different : (n,) 1 where the answer was `different`
    is_different : (n,) 1 where the pair did differ
    stimuli : for each kind, (n,) the number of its stimulus; any number where the pair does not hold it

    Raises
    ------
    StatsError, BadData
        As `forced_choice`; or every pair was alike, or none was.

    Source: the exact test is that of several 2 x 2 tables, all margins given: Cox & Snell 1989, Analysis of
    Binary Data, 2nd ed., section 2.2.
    """
    y, d = as_floats(different), as_floats(is_different)
    _check(y, listener)
    if d.shape != y.shape or d.min() == d.max():
        raise BadData("told apart: pairs that differ and pairs that are alike are both needed")
    n_hit, n_differ = int(y[d == 1].sum()), int(d.sum())
    n_false, n_alike = int(y[d == 0].sum()), int((1 - d).sum())
    terms = [
        random_terms.term(LISTENER, listener, d),
        random_terms.term("readiness", listener),
        *_stimulus_terms(stimuli, d),
    ]
    hits = np.bincount(listener, y * d) / np.maximum(np.bincount(listener, d), 1)
    falses = np.bincount(listener, y * (1 - d)) / np.maximum(np.bincount(listener, 1 - d), 1)
    return _found(
        _fit(y, np.column_stack([d, np.ones(y.size)]), terms),
        heard=n_hit / n_differ - n_false / n_alike,
        p_exact=by_listener(y, d, listener),
        df=_df(listener, stimuli),
        counts=(n_hit, n_differ, n_false, n_alike),
        own=hits - falses,
        guess=None,
    )


def bounds(found: ToldApart, alpha: float) -> Bounds:
    """One-sided bounds of the share heard at 1 - alpha.

    Forced choice: each the wider of the exact binomial one, all answers alike, and the model's.
    Same-different: the model's or, where there is none, from the exact bounds of both shares. Where the exact
    test does not tell the answers from guessing, the lower bound is never above 0.

    Source: Clopper & Pearson 1934, Biometrika 26.
    """
    if not 0 < alpha < 0.5:
        raise StatsError(f"told apart: alpha {alpha:g}, wanted between 0 and 0.5")
    lower, upper, by = *_exact(found, alpha), EXACT
    if found.se is not None and found.df is not None:
        low, high = t_interval.of(found.heard, found.se, found.df, 1 - 2 * alpha)
        if found.guess is None or low <= lower:
            by = SAMPLED
        lower, upper = (low, high) if found.guess is None else (min(low, lower), max(high, upper))
    if found.p_exact > alpha:
        lower = min(lower, 0.0)
    return Bounds(min(lower, found.heard), max(min(1.0, upper), found.heard), by)


def _exact(found: ToldApart, alpha: float) -> tuple[float, float]:
    if found.guess is not None:
        limits = _clopper_pearson(found.n_right, found.n_asked, alpha)
        lower, upper = ((bound - found.guess) / (1 - found.guess) for bound in limits)
        return lower, upper
    hit = _clopper_pearson(found.n_right, found.n_asked, alpha / 2)
    false = _clopper_pearson(found.n_false, found.n_alike, alpha / 2)
    return hit[0] - false[1], hit[1] - false[0]


def by_listener(different: FloatArray, is_different: FloatArray, listener: IntArray) -> float:
    """Chance of as many `different` on pairs that differ if nobody hears, each listener's counts given."""
    chances = np.ones(1)
    found = 0
    for number in np.unique(listener):
        mine = listener == number
        n, n_said, n_differ = int(mine.sum()), int(different[mine].sum()), int(is_different[mine].sum())
        found += int((different * is_different)[mine].sum())
        chances = np.convolve(
            chances, scipy.stats.hypergeom.pmf(np.arange(n_differ + 1), n, n_differ, n_said)
        )
    return float(min(1.0, chances[found:].sum()))


def _found(
    fitted: LinearMixed | None,
    *,
    heard: float,
    p_exact: float,
    df: float,
    counts: tuple[int, int, int, int],
    own: FloatArray,
    guess: float | None,
) -> ToldApart:
    spread = fitted.spread if fitted is not None else {}
    kinds = [value**2 for name, value in spread.items() if name.startswith("stimulus")]
    se = float(fitted.se[0]) if fitted is not None else None
    return ToldApart(
        heard=heard,
        p=p_exact if se is None else max(p_exact, t_interval.upper_tail(heard / se, df)),
        p_exact=p_exact,
        se=se,
        df=None if se is None else df,
        spread_listeners=spread.get(LISTENER),
        spread_stimuli=math.sqrt(sum(kinds) / len(kinds)) if kinds else None,
        n_right=counts[0],
        n_asked=counts[1],
        n_listeners=own.size,
        own=own,
        guess=guess,
        n_false=counts[2],
        n_alike=counts[3],
    )


def _fit(y: FloatArray, x: FloatArray, terms: Sequence[RandomTerm]) -> LinearMixed | None:
    """The model; None where the answers leave nothing to fit, such as every one right."""
    residual = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    if np.abs(residual).max() < 1e-9:
        return None
    try:
        return linear_mixed.fit(y, x, terms)
    except StatsError:
        return None


def _stimulus_terms(stimuli: Sequence[IntArray], column: FloatArray) -> list[RandomTerm]:
    return [
        random_terms.term(f"stimulus {number}", one, column)
        for number, one in enumerate(stimuli)
        if np.unique(one[column != 0]).size > 1
    ]


def _df(listener: IntArray, stimuli: Sequence[IntArray]) -> float:
    within = sum(np.unique(one).size - 1 for one in stimuli)
    listeners = np.unique(listener).size - 1
    return float(min(listeners, within) if within > 0 else listeners)


def _clopper_pearson(count: int, n: int, alpha: float) -> tuple[float, float]:
    lower = 0.0 if count == 0 else float(scipy.stats.beta.ppf(alpha, count, n - count + 1))
    upper = 1.0 if count == n else float(scipy.stats.beta.ppf(1 - alpha, count + 1, n - count))
    return lower, upper


def _check(y: FloatArray, listener: IntArray) -> None:
    if y.ndim != 1 or y.size == 0 or listener.shape != y.shape or not np.isin(y, (0.0, 1.0)).all():
        raise BadData(
            f"told apart: answers {y.shape}, listeners {listener.shape}; wanted 0 or 1, one a trial"
        )
    if np.unique(listener).size < 2:
        raise BadData("told apart: 1 listener; at least 2 are needed to know how listeners differ")
