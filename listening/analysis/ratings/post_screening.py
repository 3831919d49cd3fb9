"""Who heard the hidden reference: post-screening of listeners by their grades.

The protocol's `[exclusions]` alone leave anybody out; without them the counts are shown and exclude nobody.
Source: ITU-R BS.1534-3, clause 4.1.2 (grades of the hidden reference and the mid anchor), and
ITU-R BS.1116-3, clause 4.1.2 (one-sided t test of a listener's difference grades). Limits from memory.
"""

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from listening.records.found.findings_graded import GradedListener
from listening.records.found.findings_study import ListenerRow
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Exclusions
from stats import t_interval

LIMIT = 90.0  # of 100: below it the hidden reference, above it the mid anchor counts
FEWEST = 3  # difference grades of one listener for a test


def of_set(rows: pd.DataFrame, rule: Exclusions, mid_anchor: str | None) -> tuple[GradedListener, ...]:
    """One row for each listener of one attribute and presentation."""
    return tuple(_listener(str(name), own, rule, mid_anchor) for name, own in rows.groupby("listener"))


def applied(
    listeners: Sequence[ListenerRow], table: pd.DataFrame, protocol: Protocol
) -> tuple[ListenerRow, ...]:
    """The listeners, those left out as well whom a rule on hidden references leaves out."""
    out = {
        row.listener
        for (attribute, presentation), rows in table.groupby(["attribute", "presentation"])
        for row in of_set(rows, protocol.exclusions, mid_anchor(protocol, str(attribute), str(presentation)))
        if row.excluded
    }
    because = {"excluded": True, "excluded_because": "hidden reference"}
    return tuple(
        one.model_copy(update=because) if one.listener in out and not one.excluded else one
        for one in listeners
    )


def mid_anchor(protocol: Protocol, attribute: str, presentation: str) -> str | None:
    """The condition that a block has as its mid anchor."""
    found = (b for b in protocol.blocks if (b.attribute, b.presentation) == (attribute, presentation))
    return next((block.mid_anchor for block in found if block.mid_anchor), None)


def _listener(name: str, own: pd.DataFrame, rule: Exclusions, mid: str | None) -> GradedListener:
    is_of_100 = tasks.named(own["task"].iloc[0]).marks == tasks.POINTS_0_TO_100
    hidden = own[own["is_hidden"]]
    n_low = int((hidden["grade"] < LIMIT).sum()) if is_of_100 else 0
    at_mid = own[own["condition"] == mid] if mid else own[:0]
    n_high = int((at_mid["grade"] > LIMIT).sum()) if mid and is_of_100 else None
    differences = own.loc[~own["is_hidden"], "difference"].to_numpy(float)
    p = _p(differences)
    most = rule.hidden_reference_low_above
    out = is_of_100 and most is not None and n_low > most * len(hidden)
    high = rule.mid_anchor_high_above
    out |= n_high is not None and high is not None and n_high > high * len(at_mid)
    told = rule.difference_grades_p_above
    out |= not is_of_100 and told is not None and (p is None or p > told)
    return GradedListener(
        listener=name,
        n_trials=len(hidden),
        reference_low=n_low,
        mid_anchor_high=n_high,
        mean_difference=float(differences.mean()),
        p=p,
        excluded=bool(out),
    )


def _p(differences: np.ndarray) -> float | None:
    """One-sided p that difference grades lie below zero; None where they cannot tell."""
    n = len(differences)
    if n < FEWEST or np.ptp(differences) == 0:
        return None
    se = float(differences.std(ddof=1)) / math.sqrt(n)
    return t_interval.upper_tail(-float(differences.mean()) / se, n - 1.0)
