"""What was decided of one planned question, raw, with every way in which it was looked at."""

from typing import Annotated, Literal

from pydantic import AliasChoices, BeforeValidator, Field

from listening.records.forms.form import Form
from listening.records.found.claimed_ratio import ClaimedRatioFinding
from listening.records.found.interval import Interval
from listening.records.kinds.question_kinds import Kind, QuestionKind, named
from listening.records.kinds.tasks import PAIRED_COMPARISON
from listening.records.protocols.contrasts import ContrastForm

Word = Literal["supported", "contradicted", "undecided", "no verdict"]


EARLIER = {"told apart": "discrimination", "heard": "share not guessed"}


DecidedBy = Annotated[
    Literal["direct share", "logistic mixed model", "discrimination", "ratings", "nothing"],
    BeforeValidator(lambda word: EARLIER.get(word, word)),
]


Unit = Annotated[
    Literal["share", "logit", "share not guessed", "points"],
    BeforeValidator(lambda word: EARLIER.get(word, word)),
]


class LevelCheck(Form):
    """The planned contrast with level taken one way: which metric, and how much a decibel moves an answer."""

    metric: str
    """A level metric; `as heard` where the question which is louder measured it on the same sounds."""
    slope_at: Literal["estimate", "lower", "upper", "none", "monotony"]
    slope_logit_per_db: float
    """0 by monotony, where no slope enters."""
    slope_points_per_db: float | None = None
    """For ratings, whose estimates are in points of the scale."""
    residual_db: float
    """Mean level difference of the two conditions as presented, in that metric; its limit further from zero
    where it was heard."""
    control_gain_db: float | None = None
    """By monotony: the control pairs' gain at or next above the residual; null where none reaches it."""
    control_share: float | None = None
    """By monotony: share of choices of the louder at that gain; level's part is no larger. Its error is in
    the limits."""
    estimate: float
    """By monotony a share of choices with level's largest part taken off; else as the question's numbers."""
    lower: float | None
    upper: float | None
    word: Word


class Sensitivity(Form):
    """The question looked at another way; it never decides."""

    name: Literal[
        "without exclusions",
        "with suspect listeners left out",
        "no level correction",
        "answers pooled over listeners",
        "sign test over listeners",
        "chance-corrected beta-binomial",
        "categories as ordered only",
        "mixed model of the direct answers",
        "mixed model over all conditions",
        "strengths over all conditions",
    ]
    estimate: float | None
    """Log-odds; a share of choices where `unit` says so."""
    lower: float | None
    upper: float | None
    p: float | None
    n_listeners: int
    word: Word | None
    """Null where the method cannot bear the planned question."""
    agrees: bool | None
    note: str = ""
    unit: Literal["logit", "share"] = "logit"


class ListenerEffect(Form):
    """One listener on one question: direct answers and the model's own effect (drawn towards the mean)."""

    listener: str
    n: int
    """Direct comparisons of the two conditions."""
    n_more: int
    """How often the condition said to have more was chosen."""
    n_no_difference: int = 0
    """How often neither was."""
    effect_logit: float | None
    """Null where the model was not fitted."""

    @property
    def share(self) -> float | None:
        """The listener's own share, as counted: `no difference` is half a choice; None without answers."""
        return (self.n_more + self.n_no_difference / 2) / self.n if self.n else None


class LevelEquivalent(Form):
    """The effect in decibels of level: how much louder would sway this answer as much."""

    db: float | None
    lower_db: float | None
    upper_db: float | None
    coverage: float = Field(validation_alias=AliasChoices("coverage", "level"))
    reason: str = ""
    """Why there is none."""


class ContrastPart(Form):
    """One pair of a contrast of several."""

    more: str
    more_label: str
    than: str
    than_label: str
    is_turned: bool
    """The second difference of an interaction, turned round."""
    n: int
    """Direct comparisons by listeners who met every pair."""
    n_more: int
    share: float
    """Mean over listeners of the share of choices of `more`."""


class QuestionFinding(Form):
    """One planned question, decided."""

    id: str
    kind: Kind
    attribute: str
    comparative: str
    wording: str = Field(validation_alias=AliasChoices("wording", "asked"))
    """What the listener read, word for word."""
    presentation: str
    beyond_level: bool
    """Decided on matched stimuli with level corrected: the claim is about more than being louder."""
    about_level: bool
    """The attribute is level itself (loudness)."""
    more: str
    more_label: str
    than: str
    than_label: str
    among: str = ""
    """The planned subgroup that decides it, as it is called; empty: the whole panel."""
    n_panel: int = 0
    """With `among`: how many listeners of the panel it was taken from."""
    stage: int = 1
    """The stage whose listeners decide it; above 1 it was added by an amendment."""
    contrast: ContrastForm = "pair"
    """`pair`: the two are compared; otherwise the mean over several pairs decides, see `parts`."""
    conditions: tuple[str, ...] = ()
    """All that several pairs compare."""
    over: tuple[str, ...] = ()
    """`averaged`, `interaction`: the values averaged over; `trend`: the steps, from least to most."""
    exceeds: tuple[str, ...] = ()
    """`interaction`: the two of the second difference, as called."""
    parts: tuple[ContrastPart, ...] = ()
    smallest_effect: float
    unit: Unit
    smallest_effect_logit: float
    alpha: float
    alpha_corrected: float
    """After the correction for the family."""
    family: str
    family_size: int
    split_limit: float | None
    word: Word
    reason: str
    decided_by: DecidedBy = "logistic mixed model"  # findings of before 0.2 had no other way for choices
    """`direct share`: `share`, `df`, `se` and `p` are of the share of choices in direct comparisons, and
    decide; `estimate` and what stands in log-odds explain. `nothing`: described only."""
    warnings: tuple[str, ...] = ()
    """What a reader has to know of these numbers beside the reason."""
    transitivity_p: float | None = None
    """Whether comparisons over other conditions say the same as the direct ones; null where none tell."""
    level_flips: bool = False
    """Whether the verdict depends on which metric or slope of level is taken."""
    n_listeners: int
    """`direct share`: those who compared the two directly."""
    n_answers: int
    """All answers of the block (every pair)."""
    n_direct: int
    """Answers that compared the two conditions directly; for same-different, pairs that differ."""
    n_direct_more: int
    """Of them, in favour of the first; for `audible`: right ones."""
    points: Interval | None = None
    """For ratings: how many points of the scale the first lies above the second, level corrected."""
    scale: tuple[str, ...] = ()
    """For ratings: the labels."""
    n_direct_no_difference: int = 0
    """Of them, answered `no difference`; the estimate is then that of a choice that has to be made."""
    stimuli_per_condition: int
    these_recordings_only: bool
    """One strike a condition: the sentence speaks of these recordings, not of the design."""
    estimate: Interval | None = None
    """Log-odds that the condition said to have more is chosen, by the mixed model over all conditions."""
    se: float | None = None
    df: float | None = None
    p: float | None = None
    """One-sided, against no effect (`more`); the larger of the two one-sided tests (`same`)."""
    limits_by: str = Field(default="", validation_alias=AliasChoices("limits_by", "bound_by"))
    """How the limits were had."""
    share: Interval | None = None
    """Share of choices over listeners and strikes; of direct comparisons alone with `direct share`."""
    share_average_listener: float | None = None
    spread_listeners: float | None = None
    """Standard deviation of the listeners' own effects, log-odds."""
    spread_stimuli: float | None = None
    share_other_way: float | None = None
    """Share of listeners whose own effect points the other way, by the fitted spread."""
    share_outside: float | None = None
    """For `same`: share of listeners whose own effect is at least the smallest that matters."""
    share_outside_upper: float | None = None
    task: str = PAIRED_COMPARISON.name
    share_not_guessed: Interval | None = Field(
        default=None, validation_alias=AliasChoices("share_not_guessed", "heard")
    )
    """For `audible`: share of trials in which the answer was right and not guessed."""
    guess: float | None = None
    """For `audible`: share right by guessing; null for same-different."""
    n_false: int | None = None
    """For same-different: pairs that are alike and were called different, of `n_alike`."""
    n_alike: int | None = None
    claimed_ratio: ClaimedRatioFinding | None = Field(
        default=None, validation_alias=AliasChoices("claimed_ratio", "factor")
    )
    level_equivalent: LevelEquivalent | None = None
    level_checks: tuple[LevelCheck, ...] = ()
    sensitivity: tuple[Sensitivity, ...] = ()
    listeners: tuple[ListenerEffect, ...] = ()

    @property
    def of_kind(self) -> QuestionKind:
        """What its kind says of it."""
        return named(self.kind)
