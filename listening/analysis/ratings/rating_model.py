"""The model of ratings: a contrast in points of the scale, listeners and stimuli both as samples."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.collect.keyed_answers import LEVEL_METRICS
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Question
from stats import t_interval
from stats.errors import BadData, StatsError
from stats.linear import linear_mixed, satterthwaite
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.ordinal import cumulative_link_mixed

FloatArray = NDArray[np.float64]

SLOPE_LEVEL = 0.95  # coverage of the level slope's limits, at both of which a verdict must hold
LISTENER, CELL, STIMULUS = "listener", "listener x condition", "stimulus"


@dataclass(frozen=True)
class Slope:
    """Points per decibel, with limits."""

    estimate: float
    lower: float
    upper: float


@dataclass(frozen=True)
class RatedFit:
    """The contrast with level taken one way, in points."""

    metric: str
    slope_at: str
    slope: float
    residual_db: float
    estimate: float
    se: float
    df: float
    spread_listeners: float
    """Standard deviation of the listeners' own contrasts."""
    spread_stimuli: float
    variance_listeners: float
    """Sampling variance of the estimate without the part of the stimuli."""


def level_slope(table: pd.DataFrame, attribute: str) -> Slope | None:
    """What a decibel alone adds to a rating, from sounds rated both as recorded and matched; None without.

    The conditions' own means are alike in both presentations; level alone is not.
    """
    rows = table[table["attribute"] == attribute].reset_index(drop=True)
    metrics = _metrics(rows)
    if rows["presentation"].nunique() < 2 or rows["listener"].nunique() < 2 or not metrics:
        return None
    try:
        columns, _, terms = _model(rows, rows["condition"].iloc[0])
        level_db = rows[metrics[0]].to_numpy(float)
        own = random_terms.term("level", _codes(rows["listener"]), level_db - level_db.mean())
        x = np.column_stack([columns, level_db - level_db.mean()])
        found = linear_mixed.fit(rows["score"], x, (*terms, own))
    except StatsError:
        return None
    df = rows["listener"].nunique() - 1
    estimate, se = float(found.estimate[-1]), float(found.se[-1])
    return Slope(estimate, *t_interval.of(estimate, se, df, SLOPE_LEVEL))


def of_the_two(rows: pd.DataFrame, more: str, than: str) -> pd.DataFrame:
    """Ratings of the two conditions, or of one against the other, renumbered."""
    ends = [more, than]
    return rows[rows["condition"].isin(ends) & rows["against"].isin([*ends, ""])].reset_index(drop=True)


def compared(rows: pd.DataFrame, asked: Question) -> pd.DataFrame:
    """The scores that a question compares: grades, or grades less that of the hidden reference.

    Where each trial grades one sound beside the reference (triple stimulus), two other sounds are compared by
    their difference grades; the reference itself, and sounds graded side by side, by the grades as given.

    Source: ITU-R BS.1116-3, clause 9 (difference grades).
    """
    if "is_hidden" not in rows or not len(rows):
        return rows
    each = tasks.named(rows["task"].iloc[0])
    hidden = rows["is_hidden"].eq(True)
    if each.sounds is None:
        return rows
    if set(rows["condition"][hidden]) & set(asked.contrast.conditions):
        meant = rows["condition"].isin(asked.contrast.conditions) & ~hidden
        trial = rows["sitting"] + " " + rows["trial"]  # the reference as graded beside that object
        return rows[trial.isin(trial[meant])].reset_index(drop=True)
    return rows.assign(score=rows["difference"])[~hidden].reset_index(drop=True)


def n_stimuli(rows: pd.DataFrame, condition: str) -> int:
    heard = [*rows["stimulus"][rows["condition"] == condition]]
    heard += [*rows["stimulus_against"][rows["against"] == condition]]
    return len(set(heard))


def _metrics(rows: pd.DataFrame) -> list[str]:
    return [m for m in LEVEL_METRICS if len(rows) and not rows[m].isna().any()]


def ways(rows: pd.DataFrame, asked: Question, slope: Slope | None) -> Iterator[tuple[str, str, float, float]]:
    """Level by each metric, at the slope's estimate and at both its limits."""
    if slope is None:
        yield "none", "none", 0.0, 0.0
        return
    for metric in _metrics(rows):
        residual_db = _residual_db(rows, asked, metric)
        for at, value in (("estimate", slope.estimate), ("lower", slope.lower), ("upper", slope.upper)):
            yield metric, at, value, residual_db


def _residual_db(rows: pd.DataFrame, asked: Question, metric: str) -> float:
    more, than = asked.contrast.more, asked.contrast.than
    if (rows["against"] != "").any():
        there = rows[metric][(rows["condition"] == more) & (rows["against"] == than)]
        back = rows[metric][(rows["condition"] == than) & (rows["against"] == more)]
        both = pd.concat([there, -back])
        return float(both.mean()) if len(both) else 0.0
    return float(
        rows[metric][rows["condition"] == more].mean() - rows[metric][rows["condition"] == than].mean()
    )


def fit(
    rows: pd.DataFrame, asked: Question, metric: str, slope_at: str, slope: float, residual_db: float
) -> RatedFit:
    """The contrast by restricted maximum likelihood, level's part taken off every score.

    Only ratings of the two compared conditions enter: how listeners' views and strikes vary is theirs, and
    borrows nothing from conditions that may vary far less.
    """
    more, than = asked.contrast.more, asked.contrast.than
    rows = of_the_two(rows, more, than)
    columns, names, terms = _model(rows, than)
    if more not in names:
        raise BadData(f"no rating of {more}; wanted ratings of {more} and {than}")
    terms = tuple(_own_contrast(rows, more) if term.name == CELL else term for term in terms)
    off = slope * rows[metric].to_numpy(float) if slope_at != "none" else 0.0
    score = rows["score"].to_numpy(float) - off
    if np.ptp(score) == 0:
        raise BadData("every rating is the same number, so nothing tells how listeners vary")
    found = linear_mixed.fit(score, columns, terms, names=names)
    weights = np.array([float(name == more) for name in names])
    tested = satterthwaite.t_tests(found, weights[None, :])
    of_each = 1 / n_stimuli(rows, more) + 1 / n_stimuli(rows, than)
    # rated once each, an own contrast cannot be told from chance: all of it is taken for that
    own = found.spread.get(CELL, math.sqrt(2) * found.residual)
    stimuli = found.spread.get(STIMULUS, 0.0)
    n_listeners = rows["listener"].nunique()
    se = float(tested.se[0])
    return RatedFit(
        metric=metric,
        slope_at=slope_at,
        slope=slope,
        residual_db=residual_db,
        estimate=float(tested.estimate[0]),
        se=se,
        df=min(float(tested.df[0]), n_listeners - 1.0),
        spread_listeners=own,
        spread_stimuli=stimuli,
        variance_listeners=max(se**2 - stimuli**2 * of_each, own**2 / n_listeners),
    )


def _model(rows: pd.DataFrame, than: str) -> tuple[FloatArray, tuple[str, ...], tuple[RandomTerm, ...]]:
    """Fixed columns (all conditions against `than`) and random terms: listeners, their views, stimuli.

    The model of a score of the second sound against the first is the difference of two.
    """
    conditions = sorted({*rows["condition"], *rows["against"]} - {""})
    if than not in conditions:
        raise BadData(f"no rating of {than}; wanted ratings of both conditions")
    others = [c for c in conditions if c != than]
    fixed = [np.ones(len(rows))] + [
        (rows["condition"] == c).to_numpy(float) - (rows["against"] == c).to_numpy(float) for c in others
    ]
    listener = _codes(rows["listener"])
    compared = bool((rows["against"] != "").all())
    terms = [random_terms.term(LISTENER, listener)]
    cells = _by(CELL, rows, "condition", compared, listener)
    if compared or np.unique(cells.level).size < len(rows):
        terms.append(cells)
    if len({*rows["stimulus"], *rows["stimulus_against"]} - {""}) > len(conditions):
        terms.append(_by(STIMULUS, rows, "stimulus", compared))
    return np.column_stack(fixed), ("level of the scale", *others), tuple(terms)


def _own_contrast(rows: pd.DataFrame, more: str) -> RandomTerm:
    """Each listener's own contrast, whose variance no other component bounds.

    As two views beside a general one, views would be pooled with it wherever the general one comes to zero:
    the standard error of 400 panels of 12 was 6 % too small.
    """
    is_more = (rows["condition"] == more).to_numpy(float)
    compared = bool((rows["against"] != "").all())
    other = (rows["against"] == more).to_numpy(float) if compared else np.full(len(rows), 0.5)
    weight: FloatArray = is_more - other
    return random_terms.term(CELL, _codes(rows["listener"]), weight)


def _by(
    name: str, rows: pd.DataFrame, what: str, compared: bool, listener: NDArray[np.int64] | None = None
) -> RandomTerm:
    """Random effects of a condition (each listener's own) or a stimulus; a difference where compared."""
    against = "against" if what == "condition" else "stimulus_against"
    sides = [rows[what], rows[against]] if compared else [rows[what]]
    codes = _codes(pd.concat(sides))
    if listener is not None:
        codes = np.tile(listener, len(sides)) * (codes.max() + 1) + codes
    level = np.unique(codes, return_inverse=True)[1]  # without gaps: a late listener may have met few
    if compared:
        return random_terms.pair_term(name, level[: len(rows)], level[len(rows) :])
    return random_terms.term(name, level)


def _codes(values: pd.Series) -> NDArray[np.int64]:
    return np.asarray(pd.factorize(values, sort=True)[0], dtype=np.int64)


def p_ordinal(rows: pd.DataFrame, asked: Question) -> float | None:
    """One-sided p of the cumulative model of the categories; None where it cannot be fitted."""
    rows = of_the_two(rows, asked.contrast.more, asked.contrast.than)
    columns, names, terms = _model(rows, asked.contrast.than)
    categories = _codes(rows["score"])
    try:
        found = cumulative_link_mixed.fit(categories, columns[:, 1:], terms, names=names[1:])
    except StatsError:
        return None
    at = names.index(asked.contrast.more) - 1
    return t_interval.upper_tail(float(found.estimate[at] / found.se[at]), rows["listener"].nunique() - 1.0)
