"""What `analyse` decided: every number that the report may print, raw; words and rounding come later."""

from typing import Literal

from pydantic import AliasChoices, Field

from listening.records.dealt.imported import Imported
from listening.records.forms.form import FileForm, Form
from listening.records.found.findings_explained import (
    Decomposition,
    Explanation,
    HeardMeasured,
    JointModel,
    ListenerCovariate,
    PlayedMeasure,
    SideBySide,
)
from listening.records.found.findings_graded import GradedSet
from listening.records.found.findings_question import QuestionFinding, Word
from listening.records.found.findings_sessions import SessionsFinding
from listening.records.found.findings_study import (
    Caution,
    ConditionMeasure,
    Digests,
    Fixed,
    Looks,
    Matching,
    Method,
    PanelFinding,
    Remark,
    RoomNoted,
    StageFinding,
    StudyRecord,
)
from listening.records.found.interval import Interval
from listening.records.protocols.conducted import Conducted


class LevelSlope(Form):
    """How much one decibel of level alone moves the answer to one attribute."""

    attribute: str
    source: Literal["control pairs", "both presentations", "none"]
    slope: Interval | None
    """Log-odds per dB."""
    se: float | None = None
    n_answers: int
    n_listeners: int
    bend: float | None = None
    """Log-odds per dB, per dB of difference: what a larger difference changes of the slope."""
    linearity_p: float | None = None
    """Two-sided, against one slope at every size of difference; None with one size only."""


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
    listener_covariates: tuple[ListenerCovariate, ...] = ()
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
    stages: tuple[StageFinding, ...] = ()
    """Late stages, the deal itself left out."""
    sessions: SessionsFinding | None = None
    """Where listeners came to several sessions."""
    record: StudyRecord | None = None
    conducted: Conducted | None = None
    remarks: tuple[Remark, ...] = ()
    """What listeners wrote; a listener who withdrew is not among them."""
    rooms: tuple[RoomNoted, ...] = ()
    cautions: tuple[Caution, ...] = ()

    def question(self, name: str) -> QuestionFinding:
        """The finding of that question."""
        return next(q for q in self.questions if q.id == name)
