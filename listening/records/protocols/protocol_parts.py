"""The tables of a protocol, one form each, with the checks that need no other table."""

from typing import Annotated, Literal, Self

from pydantic import AliasChoices, Field, model_validator

from listening.records.forms.form import Form
from listening.records.kinds import tasks
from listening.records.kinds.metric_register import MatchingMetric
from listening.records.kinds.tasks import TaskName
from listening.records.protocols.questions import (
    AS_RECORDED,
    Name,
    PresentationName,
    Share,
)

CLEAR_GAIN_DB = 2.0  # control pairs below it may honestly be missed


class Calibrator(Form):
    """Recordings of the sound calibrator, made with the study's gain."""

    before: str = Field(description="Its tone before the recordings, relative to the recordings folder.")
    after: str | None = Field(None, description="Its tone after them: the drift between both is told.")
    level_db: Literal[94, 114] = Field(94, description="What it gives at 250 Hz or 1 kHz, in dB re 20 µPa.")


class Recordings(Form):
    """Where the recordings are and which factors tell the conditions apart."""

    folder: str = Field(description="Folder of the recordings table, relative to the protocol file.")
    table: str = Field("recordings.csv", description="CSV table in that folder, one recording a row.")
    factors: list[Name] = Field(min_length=1, description="Columns whose values make a condition, in order.")
    use: dict[str, list[str]] = Field(
        {}, description="Values to keep, by factor; a factor left out keeps all."
    )
    calibrator: Calibrator | None = Field(
        None, description="Calibrates every recording whose row does not; one gain for all."
    )
    background: str | None = Field(
        None,
        description="The room alone with the same gain, relative to the recordings folder: taken off "
        "energies, and what a strike is heard over.",
    )


class Panel(Form):
    """Who listens, and whom they stand for."""

    stands_for: str = Field(
        min_length=10, description="Recruitment and inclusion; the printed sentence names it."
    )
    training: Literal["naive", "trained"] = Field(description="Whether listeners were trained in listening.")
    run_by: str = Field(
        "",
        description="Who runs the test, as the footnote of a printed sentence names them; empty: not said.",
    )
    listeners: int = Field(ge=1, le=10000, description="How many listeners are planned.")
    spare: int = Field(
        0,
        ge=0,
        le=10000,
        description="Further slots dealt, for listeners who replace a drop-out: each gets the slot that "
        "evens the plan out.",
    )


class Presentation(Form):
    """One way of presenting every stimulus."""

    name: PresentationName = Field(description="`as recorded`, `matched` or `isolated`.")
    metric: MatchingMetric | None = Field(None, description="What `matched` or `isolated` holds equal.")
    tolerance_db: float = Field(0.1, gt=0, le=3, description="Largest residual after matching (dB, or phon).")

    @model_validator(mode="after")
    def _metric_goes_with_matched(self) -> Self:
        if (self.name != AS_RECORDED) != (self.metric is not None):
            raise ValueError("`metric` is needed for `matched` and `isolated` and belongs to nothing else")
        return self


class Trimming(Form):
    """How a recording becomes a stimulus."""

    before_onset_s: float = Field(0.05, ge=0, le=1, description="Sound kept before the strike.")
    length_s: float = Field(
        2.5, gt=0.2, le=20, description="Length of every stimulus, from its first sample."
    )
    fade_in_s: float = Field(0.01, ge=0, le=0.5, description="Raised-cosine fade before the strike.")
    fade_out_s: float = Field(0.3, ge=0, le=5, description="Raised-cosine fade at the end.")
    true_peak_ceiling_dbtp: float = Field(-1.0, le=0, ge=-40, description="No stimulus may peak above this.")
    headroom_offset_db: float | None = Field(
        None,
        le=0,
        ge=-40,
        description="Common gain of all stimuli; left out, it is computed from the ceiling.",
    )


class Examples(Form):
    """Two sounds that differ in the attribute alone; they explain the word before the first trial."""

    more: str = Field(description="Sound file with more of it, relative to the recordings folder.")
    less: str = Field(description="Sound file with less of it, relative to the recordings folder.")


class Attribute(Form):
    """What the listener is asked about the sounds."""

    name: Name = Field(description="Short name, used by blocks and questions.")
    task: TaskName = Field(tasks.PAIRED_COMPARISON.name, description="The method of asking.")
    wording: str = Field(min_length=3, description="What the listener reads, in the listener's language.")
    comparative: str = Field(min_length=1, description="The word of the claim: brighter, longer, louder.")
    explanation: str = Field("", description="What the word means, shown with the two examples.")
    examples: Examples | None = Field(None, description="Two sounds that differ in the attribute alone.")
    no_difference: bool = Field(
        False, description="Paired comparison: whether `no difference` may be answered."
    )
    scale: list[str] = Field(
        [],
        description="For ratings: the labels of the scale, from least to most, in the listener's language. "
        "Comparison category: 7, the second sound against the first; category rating: 5 or 9; continuous "
        "rating and multiple stimulus: 2 to 11, spread evenly; triple stimulus: 5, at 1.0 to 5.0.",
    )
    scale_standard: str = Field(
        "", description="For ratings: the standard that the scale follows, or `own`; printed in the report."
    )
    scale_labels: Literal["places", "bands"] = Field(
        "places",
        description="Continuous rating and multiple stimulus: whether a label names a place on the scale, or "
        "one of equal bands that the scale is parted in (ITU-R BS.1534: five).",
    )
    listening: Literal["in turn", "switching"] = Field(
        "in turn",
        description="`in turn`: the sounds follow each other; `switching`: the listener goes to and fro "
        "between aligned sounds, cross-faded. Multiple stimulus and adjustment always switch.",
    )
    switching_to: Literal["same place", "start"] = Field(
        "same place",
        description="With `switching`: where the other sound is entered. `same place`: at the same instant; "
        "`start`: at its beginning, for sounds that die away.",
    )
    loops: bool = Field(True, description="With `switching`: whether the sounds go round and round.")
    about_level: bool = Field(
        False,
        description="Whether it asks for level itself (loudness): then control pairs have a right answer, "
        "and no level correction applies.",
    )

    @model_validator(mode="after")
    def _scale_fits_task(self) -> Self:
        lengths = tasks.named(self.task).scale_lengths
        if not lengths and (self.scale or self.scale_standard):
            raise ValueError(f"task `{self.task}` has no scale: leave `scale` and `scale_standard` out")
        if lengths and (len(self.scale) not in lengths or not self.scale_standard):
            wanted = " or ".join(map(str, lengths)) if len(lengths) < 3 else f"{lengths[0]} to {lengths[-1]}"
            raise ValueError(
                f"task `{self.task}` needs `scale` with {wanted} labels (found {len(self.scale)}) "
                "and `scale_standard`, the standard it follows or `own`"
            )
        if self.scale_labels == "bands" and tasks.named(self.task).marks != tasks.POINTS_0_TO_100:
            raise ValueError(f'`scale_labels = "bands"` belongs to a scale of 0 to 100, not to `{self.task}`')
        if self.no_difference and not tasks.named(self.task).may_see_no_difference:
            raise ValueError(f"`no_difference` belongs to a paired comparison, not to `{self.task}`")
        return self


class Block(Form):
    """Trials of one attribute under one presentation."""

    attribute: Name = Field(description="Name of an attribute.")
    presentation: PresentationName = Field(description="Name of a presentation.")
    pairs: Literal["all", "planned", "rotating", "cyclic", "blocks"] = Field(
        "all",
        description="Which pairs of conditions a listener compares. `all`; `planned`: those of the "
        "questions; `rotating`: each listener a connected part, over the panel every pair equally often; "
        "`cyclic`: the same well-connected part for everybody; `blocks`: each listener all pairs of a few "
        "conditions (balanced incomplete blocks).",
    )
    partners: int | None = Field(
        None,
        ge=2,
        le=200,
        description="For `rotating` and `cyclic`: with how many others a listener compares each condition.",
    )
    block_size: int | None = Field(
        None, ge=2, le=200, description="For `blocks`: how many conditions a listener compares."
    )
    reference: str | None = Field(
        None,
        description="For `multiple stimulus` and `triple stimulus`: the condition that is also played as the "
        "known reference.",
    )
    low_anchor: str | None = Field(
        None,
        description="For `multiple stimulus`: the condition that was made the worst on purpose (ITU-R "
        "BS.1534: the reference low-passed at 3.5 kHz).",
    )
    mid_anchor: str | None = Field(
        None,
        description="For `multiple stimulus`: the condition that was made middling on purpose (ITU-R "
        "BS.1534: the reference low-passed at 7 kHz); see `exclusions.mid_anchor_high_above`.",
    )
    planned_too: bool = Field(
        False,
        description="With `rotating`, `cyclic` or `blocks`: the pairs of the questions go to every listener.",
    )
    repeats: int = Field(
        1, ge=1, le=50, description="How often each pair of conditions is heard by a listener."
    )
    planned_repeats: int | None = Field(
        None,
        ge=1,
        le=50,
        description="How often a listener hears each pair that a question plans, where the other pairs get "
        "`repeats`: the planned pair's own answers decide, so it needs most of them.",
    )

    part: int | None = Field(
        None,
        ge=1,
        le=10,
        description="With several sessions: the part it belongs to, heard in one session; without, its "
        "hearings are shared out over all sessions.",
    )
    stage: int = Field(1, ge=1, le=20, description="The stage it belongs to; 1 is the deal, see `stages`.")
    of_all_questions: bool = Field(
        False,
        description="With `planned`: also the pairs that questions of other attributes compare in this "
        "presentation. For loudness: then level as it is heard is known of each of them.",
    )

    @model_validator(mode="after")
    def _planned_repeats_fit_pairs(self) -> Self:
        if self.of_all_questions and self.pairs != "planned":
            raise ValueError(f'`of_all_questions` with pairs = "{self.pairs}": wanted pairs = "planned"')
        some = self.pairs == "all" or self.planned_too or self.of_all_questions
        if self.planned_repeats is not None and not some:
            wanted = "`repeats` alone" if self.pairs == "planned" else "`planned_too = true` with it"
            raise ValueError(f'`planned_repeats` with pairs = "{self.pairs}": wanted {wanted}')
        return self

    @model_validator(mode="after")
    def _size_fits_pairs(self) -> Self:
        for key, kinds in (("partners", ("rotating", "cyclic")), ("block_size", ("blocks",))):
            given = getattr(self, key) is not None
            if given != (self.pairs in kinds):
                names = " or ".join(f'pairs = "{kind}"' for kind in kinds)
                raise ValueError(f"`{key}` is needed with {names} and belongs to nothing else")
        if self.planned_too and self.pairs in ("all", "planned"):
            raise ValueError(f'`planned_too` adds nothing to pairs = "{self.pairs}"')
        return self


class Control(Form):
    """Pairs of one stimulus with itself at a known gain: catch trials, and the sensitivity to level."""

    attribute: Name = Field(description="Name of an attribute; its blocks are seeded with these pairs.")
    gains_db: list[Annotated[float, Field(ge=0, le=12)]] = Field(
        min_length=1, description="Gain of the stronger of the two; 0 is an identical pair."
    )
    conditions: list[str] = Field(
        [], description="Conditions whose stimuli are used; empty uses all in turn."
    )
    repeats: int = Field(1, ge=1, le=50, description="Pairs per gain and listener.")
    stage: int = Field(1, ge=1, le=20, description="The stage it belongs to; 1 is the deal, see `stages`.")


class Ask(Form):
    """One question about the listener; `rather not say` is always offered."""

    wording: str = Field(
        min_length=3,
        validation_alias=AliasChoices("wording", "question"),
        serialization_alias="question",
        description="What is asked: age band, hearing, experience.",
    )
    answers: list[str] = Field(min_length=1, max_length=8, description="What may be answered.")


class Sitting(Form):
    """What a listener meets, apart from the sounds."""

    language: str = Field("en", min_length=2, max_length=8, description="Of the screens: `en` or `de`.")
    welcome: str = Field(min_length=3, description="First text on the screen.")
    consent: str = Field(min_length=3, description="What the listener agrees to.")
    goodbye: str = Field("Thank you. You are done.", description="Last text on the screen.")
    plays_at_least: int = Field(
        1, ge=1, le=5, description="Times each clip is heard before an answer counts."
    )
    plays_at_most: int = Field(3, ge=1, le=20, description="Times a trial may be played.")
    gap_s: float = Field(0.5, ge=0, le=5, description="Silence between the clips of a trial.")
    practice_trials: int = Field(
        2, ge=0, le=20, description="Trials to learn on, before each attribute; not counted."
    )
    practice_until_right: int = Field(
        0,
        ge=0,
        le=10,
        description="Before the trials of an attribute with examples, the pair is asked until it was "
        "discriminated so many times in a row, or the listener goes on without; never counted. 0: no rule.",
    )
    hearing_check: bool = Field(
        False,
        description="Whether the listener is offered a hearing check after the level is set: soft tones in "
        "each ear. A screening, no medical test; it tells how the ears differ and whether repeats agree, "
        "and may be skipped.",
    )
    practice_feedback: bool = Field(
        False,
        description="With `practice_until_right`: after each answer about the pair of examples the right one "
        "is told, and the sounds may be heard again (familiarisation, ISO 6658).",
    )
    training: bool = Field(
        False,
        description="Before the trials of a rated attribute every sound that will be rated can be heard, as "
        "often as wanted, without an answer (training on the whole range: ITU-R BS.1116-3, BS.1534-3).",
    )
    may_go_back: bool = Field(
        True,
        description="Whether the last answer may be changed until the next sounds are heard; both answers "
        "stay in the record, the last one counts.",
    )
    comments: Literal["none", "each trial", "end"] = Field(
        "none",
        description="Whether the listener may write a comment: after each trial that counts, or once at the "
        "end. Comments stand in the record and in the export; they decide nothing.",
    )
    questionnaire: list[Ask] = Field([], max_length=12, description="Asked once, after the consent.")
    mixed: bool = Field(
        False,
        description="Whether attributes are mixed from trial to trial; else one is asked after the other.",
    )
    together: list[Name] = Field(
        [],
        description="Attributes, all paired comparisons with the same blocks and controls, asked one after "
        "the other about the same pair: it is heard once for all of them.",
    )
    together_order: Literal["balanced", "fixed"] = Field(
        "balanced",
        description="With `together`: each listener has one order of them. `balanced`: over the panel every "
        "place and every neighbour equally often; `fixed`: as they are listed.",
    )
    break_every_trials: int = Field(40, ge=5, le=500, description="A pause is offered after so many trials.")
    break_every_min: float | None = Field(
        None, ge=1, le=240, description="A pause is offered after so many minutes of trials, too."
    )
    break_at_least_s: float = Field(30.0, ge=0, le=3600, description="The pause lasts at least this long.")
    session_at_most_min: float | None = Field(
        None,
        ge=1,
        le=600,
        description="After so many minutes the sitting ends for now, at the end of a trial; the listener "
        "goes on another time.",
    )
    answer_within_s: float | None = Field(
        None,
        ge=1,
        le=600,
        description="Seconds after the sounds in which an answer is wanted; later the listener is asked for "
        "it, and that it came late is written down.",
    )
    idle_after_min: float | None = Field(
        None,
        ge=1,
        le=240,
        description="So many minutes without a key: the sound stops and the sitting pauses.",
    )
    loops_at_most_s: float = Field(
        120.0, ge=5, le=3600, description="A loop that goes round and round stops after so many seconds."
    )

    @model_validator(mode="after")
    def _feedback_has_practice(self) -> Self:
        if self.practice_feedback and not self.practice_until_right:
            raise ValueError(
                "`practice_feedback` needs `practice_until_right`: it tells what was right there"
            )
        return self

    @model_validator(mode="after")
    def _most_reaches_least(self) -> Self:
        if self.plays_at_most < self.plays_at_least:
            raise ValueError(
                f"plays_at_most ({self.plays_at_most}) is below plays_at_least ({self.plays_at_least})"
            )
        return self


class Exclusions(Form):
    """Which listeners the deciding analysis leaves out; fixed before the data, nothing else excludes."""

    controls_right_below: Share | None = Field(
        None,
        description="Leave out who picked the stronger of the control pairs of a level attribute less often "
        "than this share.",
    )
    median_response_below_s: float | None = Field(
        None, gt=0, description="Leave out whose median time to answer is shorter than this."
    )
    same_side_above: Share | None = Field(
        None, description="Leave out who gave one side (first or second) in more than this share of trials."
    )
    repeats_alike_below: Share | None = Field(
        None,
        description="Leave out who answered pairs of conditions heard again alike in a smaller share of "
        "repeats than this; 0.5 is what answers at random give on average.",
    )
    hidden_reference_low_above: Share | None = Field(
        None,
        description="Multiple stimulus: leave out who graded the hidden reference below 90 of 100 in more "
        "than this share of trials (ITU-R BS.1534-3: 0.15).",
    )
    mid_anchor_high_above: Share | None = Field(
        None,
        description="Multiple stimulus: leave out who graded the mid anchor above 90 of 100 in more than "
        "this share of trials (ITU-R BS.1534-3: 0.15).",
    )
    difference_grades_p_above: Share | None = Field(
        None,
        description="Triple stimulus: leave out whose difference grades do not lie below zero by a one-sided "
        "t test at this level (ITU-R BS.1116-3: 0.05), that is, who did not hear the reference out.",
    )


class Covariates(Form):
    """Which measured value stands for level, brightness and decay in the explaining model."""

    level: str = Field("laf_max_db", description="Metric of level.")
    brightness: str = Field("sharpness_acum", description="Metric of brightness.")
    decay: str = Field("decay_s", description="Metric of decay.")
    reason: str = Field("", description="Why, when it is not the default.")
    listeners: list[str] = Field(
        [],
        max_length=6,
        description="Questions of the questionnaire, word for word: listeners' own shares are told by their "
        "answers, with how many gave each; planned, explaining, and deciding nothing.",
    )
