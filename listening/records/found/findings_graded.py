"""Grades given beside a hidden reference: each condition's, and what they say of each listener."""

from typing import Literal

from listening.records.forms.form import Form
from listening.records.found.interval import Interval


class GradedCondition(Form):
    """One condition, over all listeners who were kept."""

    condition: str
    label: str
    role: Literal["object", "hidden reference", "low anchor", "mid anchor", "anchor"]
    n: int
    """Grades."""
    grade: float
    """Mean over listeners of each listener's mean."""
    lower_quartile: float | None = None
    """Of all its grades, as they were given; null in findings of earlier versions."""
    median: float | None = None
    upper_quartile: float | None = None
    difference: Interval | None = None
    """Difference grade: grade less that of the hidden reference beside it; null: not to be estimated."""
    signed_rank_p: float | None = None
    """Signed-rank test of the listeners' mean difference grades, exact, corrected over the set's conditions
    (Holm); null: every listener's is zero, or findings of an earlier version."""


class RankTest(Form):
    """Whether the conditions' difference grades differ, by their ranks within each listener."""

    chi_square: float
    df: int
    p: float
    n_listeners: int
    """Who graded every condition."""


class GradedListener(Form):
    """What the hidden reference says of one listener."""

    listener: str
    n_trials: int
    reference_low: int
    """Multiple stimulus: trials with the hidden reference below the limit of the standard."""
    mid_anchor_high: int | None = None
    """Multiple stimulus: trials with the mid anchor above that limit; null: no mid anchor."""
    mean_difference: float
    p: float | None = None
    """One-sided t test of the difference grades against zero; null: too few, or all alike."""
    excluded: bool


class GradedSet(Form):
    """One attribute and presentation."""

    attribute: str
    presentation: str
    task: str
    low: float
    high: float
    n_listeners: int
    n_trials: int
    conditions: tuple[GradedCondition, ...]
    listeners: tuple[GradedListener, ...]
    ranks: RankTest | None = None
    """Null: fewer than three conditions or two listeners, all alike, or findings of an earlier version."""
    note: str = ""
