"""What `analyse` decided: every number that the report may print, raw; words and rounding come later."""

from typing import Annotated, Literal

from pydantic import AliasChoices, BeforeValidator, Field

from listening.records.amendment import Amendment
from listening.records.claimed_ratio import ClaimedRatioFinding
from listening.records.conducted import Conducted
from listening.records.contrasts import ContrastForm
from listening.records.findings_explained import (
    Decomposition,
    Explanation,
    HeardMeasured,
    JointModel,
    PlayedMeasure,
    SideBySide,
)
from listening.records.findings_graded import GradedSet
from listening.records.form import FileForm, Form
from listening.records.imported import Imported
from listening.records.interval import Interval
from listening.records.question_kinds import Kind, QuestionKind, named
from listening.records.tasks import PAIRED_COMPARISON

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


class LevelSlope(Form):
    """How much one decibel of level alone moves the answer to one attribute."""

    attribute: str
    source: Literal["control pairs", "both presentations", "none"]
    slope: Interval | None
    """Log-odds per dB."""
    se: float | None = None
    n_answers: int
    n_listeners: int


class Strength(Form):
    """Strength of one condition on one attribute and presentation, log-odds, the set's mean at zero."""

    condition: str
    label: str
    strength: Interval
    n: int
    n_chosen: int
    n_no_difference: int = 0


class StrengthSet(Form):
    """Bradley-Terry strengths of one attribute and presentation: they describe, they decide nothing."""

    attribute: str
    presentation: str
    n_answers: int
    n_listeners: int
    order: float | None
    """Log-odds in favour of the sound heard first."""
    interval_by: str
    df: float | None = None
    """Degrees of freedom of the strengths' limits."""
    spread_listeners: float | None = None
    """Standard deviation of listeners' own strengths about the panel's, log-odds."""
    spread_stimuli: float | None = None
    """Standard deviation of one stimulus about its condition, log-odds."""
    note: str = ""
    strengths: tuple[Strength, ...]


class Against(Form):
    """One comparison of a superlative."""

    than: str
    than_label: str
    estimate: float | None
    lower: float | None
    """One-sided limit at the superlative's alpha, by the way of taking level that says least."""
    unit: Literal["logit", "share"] = "logit"
    """Of both; `share` of choices in direct comparisons since 0.2."""
    word: Word


class SuperlativeFinding(Form):
    """A condition named beforehand as having the most of an attribute: every comparison must hold."""

    id: str
    attribute: str
    comparative: str
    presentation: str
    condition: str
    label: str
    alpha: float
    smallest_effect: float
    word: Word
    reason: str
    n_listeners: int
    against: tuple[Against, ...]


class Winner(Form):
    """Not planned: the condition on top of a set, judged as one picked from the data (largest t)."""

    attribute: str
    presentation: str
    condition: str
    label: str
    coverage: float = Field(validation_alias=AliasChoices("coverage", "level"))
    """Joint, over all pairs of the set."""
    n_pairs: int
    least_lower: float
    """Smallest simultaneous lower limit of its lead over any other condition, log-odds."""
    is_clear: bool
    """Whether it leads every other condition by more than nothing."""


class ListenerRow(Form):
    """One listener of the panel and what the screening saw."""

    listener: str
    simulated: bool
    n_answers: int
    controls_right: int | None = None
    controls_asked: int | None = None
    first_share: float | None
    """Share of trials in which the first of two sounds was chosen; null where no such trial was heard."""
    median_response_s: float | None
    """Null where no times were kept."""
    repeats_agreed: float | None = None
    """Share of repeated pairs answered alike."""
    flags: tuple[str, ...] = ()
    excluded: bool = False
    excluded_because: str = ""


class PanelFinding(Form):
    """Who listened."""

    stands_for: str
    training: str
    n_planned: int
    n_listeners: int
    n_answers: int
    n_simulated: int
    n_excluded: int
    n_unfinished: int
    listeners: tuple[ListenerRow, ...]


class ConditionMeasure(Form):
    """One metric of one condition over its strikes."""

    condition: str
    label: str
    metric: str
    n: int
    mean: float
    sd: float | None
    expanded_uncertainty: float | None = None


class StimulusRow(Form):
    """One stimulus as it was played."""

    stimulus: str
    condition: str
    strike: str
    presentation: str
    gain_db: float
    residual_db: float | None
    after: dict[str, float | None]
    file: str
    digest: str


class Matching(Form):
    """How the set was matched and how well it came out."""

    label: str
    metric: str | None
    tolerance_db: float | None
    calibrated: bool
    largest_residual_db: float | None
    stimuli: tuple[StimulusRow, ...]


class Method(Form):
    """Every option of the analysis, in numbers."""

    deciding: str = "logistic mixed model, restricted Laplace likelihood"
    """The method that decides questions on choices; what stood here before 0.2 is the default."""
    minimum_listeners: int
    slope_coverage: float = Field(validation_alias=AliasChoices("slope_coverage", "slope_level"))
    """Coverage of the level slope's limits, at both of which a verdict must hold."""
    df_rule: str = "Satterthwaite’s (listeners with the compared strikes)"
    family_rule: str = "Holm"
    level_metrics: tuple[str, ...]
    versions: dict[str, str]


class Digests(Form):
    """The hashes that tie the findings to what they came from."""

    study: str
    protocol: str
    manifest: str
    key: str
    answers: str


Caution = Literal[
    "imported",
    "simulated",
    "uncalibrated",
    "one strike",
    "unfinished sittings",
    "fewer listeners than planned",
    "no level slope",
    "no control pairs",
    "interim look",
    "unplanned looks",
    "closed early",
]


class Fixed(Form):
    """When and how the study was fixed before the data."""

    dealt_at: str
    study_version: int = 1
    reason: str = ""
    """Why this version took the place of the one before."""
    deposited_at: str = Field(default="", validation_alias=AliasChoices("deposited_at", "lodged_at"))
    """When its plan was given to a third party; empty if it was not."""
    deposited_with: str = Field(default="", validation_alias=AliasChoices("deposited_with", "lodged_with"))
    page_digest: str = ""


class Looks(Form):
    """Where in the course of the study this analysis stands."""

    finished: int
    planned: int
    at_end: bool
    earlier: tuple[int, ...] = ()
    """Finished listeners at each look before this one."""
    unplanned: int = 0
    """Earlier looks at decided numbers that the stopping rule did not plan (versions before 0.2 let them)."""
    counts_only: bool = False
    """This look was not planned, so that nothing but counts of listeners was looked at."""
    withdrawn: int = 0
    """Listeners whose answers were removed since the study was dealt; what looks spent stays spent."""
    rule_looks: tuple[int, ...] = ()
    """Looks that the stopping rule planned."""
    spending: str = "none"
    closed: str = ""
    """Why recruitment ended with fewer than planned."""


class EarlierAnalysis(Form):
    """One analysis before this one, as the record of the study has it."""

    at: str
    finished: int
    at_end: bool
    other_answers: bool
    """Whether it saw other answers than this one."""
    answers: str
    """Hash of the answers seen then."""
    words: dict[str, str]
    """The word given to each question."""


class Removal(Form):
    """Answers that were removed."""

    at: str
    after_analyses: int
    """How many analyses had been made by then."""


class Dealt(Form):
    """One deal of the study."""

    at: str
    study: str
    version: int
    reason: str = ""
    after_analyses: int = 0
    """How many analyses had been made by then."""


class StudyRecord(Form):
    """What was done with the study before this analysis, from its record and the ledger of its store."""

    is_chained: bool
    """False: dealt by a version whose answers hang in no chain."""
    head: str
    """Hash of the line of the record that this opening made."""
    ledger: str = ""
    """Hash of the last row of the store's ledger then."""
    openings: int = 0
    """How often the key was opened before."""
    analyses: tuple[EarlierAnalysis, ...] = ()
    removals: tuple[Removal, ...] = ()
    replaced: int = 0
    """How many listeners sat on a slot that another had begun."""
    deals: tuple[Dealt, ...] = ()
    amendments: tuple[Amendment, ...] = ()
    """Changes to the deal at hand that kept its answers."""
    apart: int = 0
    """Sittings that read other words than the others; their answers decide nothing."""
    n_human: int = 0
    n_simulated: int = 0
    """Sittings in the store."""
    key: str = "open"
    """`open`: whoever held the folder could read the key; `pass phrase`: a second person held it."""
    key_beside: int = 0
    """Sittings that saw the open key lie beside their station."""
    anybody_can_deal_again: bool = False
    """The orders come from a seed that stands in the plan: a demonstration."""
    unchained: int = 0
    """Sittings begun before there were chains."""


class Findings(FileForm):
    """All of it."""

    format: int = 1
    version: str
    name: str
    title: str
    simulated: bool
    digests: Digests
    panel: PanelFinding
    questions: tuple[QuestionFinding, ...]
    superlatives: tuple[SuperlativeFinding, ...] = ()
    level_slopes: tuple[LevelSlope, ...]
    winners: tuple[Winner, ...] = ()
    graded: tuple[GradedSet, ...] = ()
    strengths: tuple[StrengthSet, ...]
    explanations: tuple[Explanation, ...] = ()
    side_by_side: tuple[SideBySide, ...] = ()
    decompositions: tuple[Decomposition, ...] = ()
    heard_measured: tuple[HeardMeasured, ...] = ()
    joint_models: tuple[JointModel, ...] = ()
    played: tuple[PlayedMeasure, ...] = ()
    conditions: tuple[ConditionMeasure, ...] = ()
    matching: Matching
    method: Method
    sources: dict[str, str] = Field(default={})
    """SHA-256 of the files that measured values and curves on the page come from, by name."""
    imported: Imported | None = None
    """Where the answers came from a table collected elsewhere."""
    fixed: Fixed | None = None
    looks: Looks | None = None
    record: StudyRecord | None = None
    conducted: Conducted | None = None
    cautions: tuple[Caution, ...] = ()

    def question(self, name: str) -> QuestionFinding:
        """The finding of that question."""
        return next(q for q in self.questions if q.id == name)
