"""What the answers go with: measured properties, level against the rest, heard against measured."""

from typing import Literal

from pydantic import AliasChoices, Field

from listening.records.forms.form import Form
from listening.records.found.interval import Interval


class CovariateSlope(Form):
    """What one measured property adds, the others held: explanation only."""

    name: Literal["level", "brightness", "decay"]
    metric: str
    per: str
    """The step that the slope belongs to: `1 dB`, `doubling`."""
    slope: Interval
    p: float
    alone: Interval | None = None
    """With no other property in the model."""


class Explanation(Form):
    """The explaining model of one attribute and presentation."""

    attribute: str
    presentation: str
    n_answers: int
    slopes: tuple[CovariateSlope, ...]
    note: str = ""


class SideBySide(Form):
    """A planned contrast under both presentations, before any level correction."""

    question: str
    as_recorded: Interval | None
    matched: Interval | None
    explained_by_level: Interval | None = None
    """Share of the as-recorded effect that is gone after matching."""
    note: str = ""


class NestedStep(Form):
    """What one more property adds to those before it; the last step: what the conditions still differ in."""

    name: Literal["level", "brightness", "decay", "everything else"]
    statistic: float
    """Likelihood ratio of the two nested models; for the last step the weighted sum of squares left over."""
    df: int
    df_units: float | None
    """Second degrees of freedom of the F that p is read from."""
    p: float


class PropertyShare(Form):
    """How much of the heard difference between conditions one measured property accounts for."""

    name: Literal["level", "brightness", "decay"]
    metric: str
    per: str
    share_alone: Interval
    """Entered first."""
    share_averaged: Interval
    """Mean over orders of entry, level first where its slope is known apart from the conditions; with what is
    left over these add up to 1."""
    share_on_top: Interval
    """Entered last: what no other property can say."""


class Decomposition(Form):
    """The heard differences of one attribute and presentation, shared out over measured properties."""

    attribute: str
    presentation: str
    n_conditions: int
    n_listeners: int
    n_answers: int
    spread: float | None = None
    """Standard deviation between conditions, sampling noise taken off, log-odds; null: no more than noise."""
    level_metric: str
    level_by: Literal["control pairs", "both presentations", "conditions", "held equal", "none"]
    """What tells how much a decibel moves the answer; control pairs with the conditions' help."""
    level_range: float | None = None
    """Largest difference in level between two conditions, as played, in steps of the metric."""
    steps: tuple[NestedStep, ...] = ()
    shares: tuple[PropertyShare, ...] = ()
    share_beyond_level: Interval | None = None
    """Share that level does not account for, level entered first."""
    share_beyond_level_said: Interval | None = None
    """Share that brightness and decay together account for on top of level."""
    share_left_over: Interval | None = None
    """Share that no property accounts for."""
    inflation: dict[str, float | None] = Field(default={})
    """Variance inflation of each slope that the conditions have to tell apart; null: infinite."""
    separable: bool | None = Field(default=None, validation_alias=AliasChoices("separable", "told_apart"))
    """Whether the effects of brightness and decay can be separated; null where one of them hardly differs."""
    held_equal: tuple[str, ...] = ()
    """Properties in which the conditions hardly differ."""
    note: str = ""


class PlayedMeasure(Form):
    """One metric of one condition as played: mean over strikes with limits."""

    presentation: str
    condition: str
    label: str
    metric: str
    n: int
    """Strikes, or specimens where several were struck."""
    mean: Interval
    """Geometric where the metric is compared by ratios."""


class HeardMeasured(Form):
    """One metric against the heard strengths of one attribute and presentation, over conditions."""

    attribute: str
    presentation: str
    metric: str
    per: str
    n_conditions: int
    correlation: Interval
    slope: Interval
    """Log-odds of strength for one step of the metric, by plain least squares: what predicts."""
    slope_both: Interval | None = None
    """The same with the errors of both axes taken into account: what describes."""
    scatter: float | None = None
    """Standard deviation of conditions about that line beyond their errors, log-odds."""
    left_out_error: float
    """Root mean square error of each condition's strength predicted from the others, log-odds."""
    nothing_error: float | None = None
    """Error of predicting each condition by the mean of the others, with no metric at all."""
    is_best: bool
    """Smallest error of all metrics tried on this set."""
    behind_best: Interval | None = None
    """Mean squared error less that of the best metric; limits hold jointly over all metrics of the set."""
    told_from_best: bool | None = None
    """Whether it predicts clearly worse than the best one."""


class JointSlope(Form):
    """One property's slope with the others in the model."""

    name: Literal["level", "brightness", "decay"]
    metric: str
    per: str
    slope: Interval


class JointModel(Form):
    """Level, brightness and decay together against the heard strengths, over conditions."""

    attribute: str
    presentation: str
    n_conditions: int
    slopes: tuple[JointSlope, ...] = ()
    scatter: float | None = None
    level_by: str = ""
    """Where the level slope is from: `control pairs`, `both presentations` or the `conditions`."""
    left_out_error: float | None = None
    behind_best: Interval | None = None
    """Mean squared error less that of the best single metric."""
    note: str = ""


class GroupShare(Form):
    """Listeners who gave one answer to a question of the questionnaire."""

    answer: str
    n_listeners: int
    """Who compared the pair directly."""
    share: Interval | None
    """Mean of their own shares of choices, each listener weighing the same; None of nobody."""


class ListenerCovariate(Form):
    """A planned covariate of listeners: it describes, and earns no verdict."""

    question: str
    wording: str
    """As the questionnaire asks it."""
    groups: tuple[GroupShare, ...]
    p: float | None
    """Of Welch's test that the groups' means are equal; None where the answers cannot bear it."""
