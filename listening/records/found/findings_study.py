"""What findings tell of the study around them: the panel, the sounds, the method, what was done before."""

from typing import Literal

from pydantic import AliasChoices, Field

from listening.records.dealt.amendment import Amendment
from listening.records.forms.form import Form


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


class Remark(Form):
    """What a listener wrote beside the answers; it decides nothing."""

    listener: str
    about: str
    """The attribute of the trial it was written after, or `at the end`."""
    text: str


class RoomNoted(Form):
    """A room as the assistant noted it, and how often sittings were begun in it."""

    room: str
    n_begun: int


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


class StageFinding(Form):
    """A late stage: when it came, and what is decided by its listeners alone."""

    stage: int
    at: str
    """When it was added, UTC, ISO 8601."""
    reason: str
    after_openings: int
    """How often the key had been opened by then."""
    planned: int
    n_listeners: int
    conditions: tuple[str, ...]
    """Compared in it, as called."""
    questions: tuple[str, ...]
    alpha: float
    """Chance at most that any of its questions is wrongly supported: over its families, each at its rate."""
