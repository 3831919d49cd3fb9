"""Difference grades of every condition: grade less that of the hidden reference, by a linear mixed model.

They describe; planned questions on grades are decided in `decided_ratings`.
Source: ITU-R BS.1116-3, clause 9 (difference grades), with listeners, their views and strikes as samples.
"""

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.ratings import grade_ranks, post_screening
from listening.records.found.findings_graded import GradedCondition, GradedSet
from listening.records.found.interval import Interval
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from stats.errors import BadData, StatsError
from stats.linear import linear_mixed, satterthwaite
from stats.mixed.engine import random_terms

FloatArray = NDArray[np.float64]
LEVEL = 0.95
FEWEST_LISTENERS = 3  # below it a spread between listeners is no estimate


def of_study(table: pd.DataFrame, protocol: Protocol, left_out: Sequence[str]) -> tuple[GradedSet, ...]:
    """Every attribute and presentation that was graded beside a hidden reference.

    Parameters
    ----------
    table : grades as `keyed_grades.frame` gives them, those of listeners left out included
    left_out : listeners whose grades enter no mean
    """
    asked = dict.fromkeys((b.attribute, b.presentation) for b in protocol.blocks)
    made = []
    for attribute, presentation in asked:
        is_own = (table["attribute"] == attribute) & (table["presentation"] == presentation)
        if is_own.any():
            made.append(_set(table[is_own].reset_index(drop=True), protocol, left_out))
    return tuple(made)


def _set(rows: pd.DataFrame, protocol: Protocol, left_out: Sequence[str]) -> GradedSet:
    first = rows.iloc[0]
    block = next(
        b
        for b in protocol.blocks
        if (b.attribute, b.presentation) == (first["attribute"], first["presentation"])
    )
    kept = rows[~rows["listener"].isin(left_out)].reset_index(drop=True)
    marks = tasks.named(first["task"]).marks or tasks.POINTS_0_TO_100
    note = ""
    differences: dict[str, Interval] = {}
    try:
        differences = _differences(kept[~kept["is_hidden"]].reset_index(drop=True))
    except StatsError as error:
        note = str(error)
    return GradedSet(
        attribute=first["attribute"],
        presentation=first["presentation"],
        task=first["task"],
        low=marks[0],
        high=marks[1],
        n_listeners=int(kept["listener"].nunique()),
        n_trials=int(kept["is_hidden"].sum()),
        conditions=_conditions(kept, block, protocol, differences),
        ranks=grade_ranks.within_listeners(kept[~kept["is_hidden"]]),
        listeners=post_screening.of_set(rows, protocol.exclusions, block.mid_anchor),
        note=note,
    )


def _conditions(
    kept: pd.DataFrame, block: Block, protocol: Protocol, differences: dict[str, Interval]
) -> tuple[GradedCondition, ...]:
    """The hidden reference first, then the others from the best grade to the worst."""
    ranked = grade_ranks.of_conditions(kept[~kept["is_hidden"]])
    made = [
        GradedCondition(
            condition=str(name),
            label=protocol.label(str(name)),
            role="hidden reference" if is_hidden else _role(str(name), bool(own["is_anchor"].any()), block),
            n=len(own),
            grade=float(own.groupby("listener")["grade"].mean().mean()),
            **_quartiles(own["grade"].to_numpy(float)),
            difference=None if is_hidden else differences.get(str(name)),
            signed_rank_p=None if is_hidden else ranked.get(str(name)),
        )
        for (name, is_hidden), own in kept.groupby(["condition", "is_hidden"])
    ]
    return tuple(sorted(made, key=lambda one: (one.role != "hidden reference", -one.grade, one.condition)))


def _quartiles(grades: FloatArray) -> dict[str, float]:
    """Median and quartiles of all grades of a condition (ITU-R BS.1534-3, statistical analysis).

    Between two grades they are interpolated in proportion: definition 7 of Hyndman & Fan 1996, The American
    Statistician 50(4).
    """
    lower, middle, upper = np.quantile(grades, (0.25, 0.5, 0.75))
    return {"lower_quartile": float(lower), "median": float(middle), "upper_quartile": float(upper)}


def _role(name: str, is_anchor: bool, block: Block) -> str:
    roles = {block.low_anchor: "low anchor", block.mid_anchor: "mid anchor"}
    return roles.get(name, "anchor" if is_anchor else "object")


def _differences(rows: pd.DataFrame) -> dict[str, Interval]:
    """Mean difference grade of each condition with limits."""
    n_listeners = rows["listener"].nunique()
    if n_listeners < FEWEST_LISTENERS:
        raise BadData(f"grades of {n_listeners} listeners; wanted at least {FEWEST_LISTENERS} for limits")
    score = rows["difference"].to_numpy(float)
    if np.ptp(score) == 0:
        raise BadData("every difference grade is the same number, so nothing tells how listeners vary")
    codes, names = pd.factorize(rows["condition"], sort=True)
    listener = pd.factorize(rows["listener"], sort=True)[0]
    own = np.unique(listener * len(names) + codes, return_inverse=True)[1]
    terms = [random_terms.term("listener", listener)]
    if len(np.unique(own)) < len(rows):
        terms.append(random_terms.term("listener x condition", own))
    stimulus = pd.factorize(rows["stimulus"], sort=True)[0]
    if stimulus.max() + 1 > len(names):
        terms.append(random_terms.term("stimulus", stimulus))
    columns = (codes[:, None] == np.arange(len(names))[None, :]).astype(float)
    found = linear_mixed.fit(score, columns, tuple(terms), names=tuple(map(str, names)))
    tested = satterthwaite.t_tests(found, level=LEVEL)
    limits = zip(tested.estimate, tested.lower, tested.upper, strict=True)
    return {
        str(name): Interval(value=float(value), lower=float(lower), upper=float(upper), coverage=LEVEL)
        for name, (value, lower, upper) in zip(names, limits, strict=True)
    }
