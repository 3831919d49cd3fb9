"""What is planned before the data: the questions that decide, and the conditions named the most of a set."""

import math
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from listening.records.forms.form import Form
from listening.records.kinds import metric_register
from listening.records.kinds.question_kinds import Kind, QuestionKind, Rule, named
from listening.records.protocols.contrasts import Contrast

AS_RECORDED = "as recorded"
MATCHED = "matched"
ISOLATED = "isolated"
PresentationName = Literal["as recorded", "matched", "isolated"]

Name = Annotated[str, Field(min_length=1, max_length=60, pattern=r"^[^\s/\\.][^/\\\n]*$")]
Share = Annotated[float, Field(gt=0, lt=1)]

RATIO_METRICS = tuple(metric.key for metric in metric_register.ALL if metric.is_ratio)


class Among(Form):
    """A subgroup of the panel, planned before the data."""

    wording: str = Field(description="A question of the questionnaire, word for word.")
    answers: list[str] = Field(min_length=1, description="Who gave one of these answers belongs to it.")
    label: str = Field(min_length=3, description="How a sentence calls them: `listeners who cycle daily`.")


class Question(Form):
    """A question planned before the data; only these decide a verdict and earn a printed sentence."""

    id: Name = Field(description="Short unique name.")
    kind: Kind = Field(
        description="`more` of the attribute, the `same`, or `audible`: whether the two are discriminated at "
        "all, from same-different, triangle, duo-trio or 2-AFC."
    )
    attribute: Name = Field(description="Name of an attribute.")
    presentation: PresentationName = Field(description="Where it is decided.")
    contrast: Contrast = Field(description="The two conditions.")
    smallest_effect: float = Field(gt=0, description="Smallest effect that matters, in the unit below.")
    unit: Literal["share", "logit", "share not guessed", "points"] = Field(
        "share",
        description="`share`: of choices, above 0.5 (0.6 = chosen 60 times in 100); `logit`: model units; "
        "`share not guessed`, for `audible`: share of trials answered rightly and not by guessing (0.2 = "
        "in 20 of 100); `points`, for ratings: points of the scale.",
    )
    alpha: float = Field(0.05, gt=0, le=0.2, description="One-sided error rate.")
    method: Literal["direct share", "mixed model"] = Field(
        "direct share",
        description="`direct share` decides: the share of choices in direct comparisons of the two. "
        "`mixed model`, from protocols of earlier versions, is read; it explains and decides no more.",
    )
    family: str = Field(
        "", description="Questions with the same family are corrected together (Holm); empty: alone."
    )
    stage: int = Field(1, ge=1, le=20, description="The stage it belongs to; 1 is the deal, see `stages`.")
    split_limit: Share = Field(
        0.25,
        description="For `same`: upper limit on the share of listeners who hear a difference that matters.",
    )
    among: Among | None = Field(
        None,
        description="A planned subgroup: only these listeners decide the question; the sentence names them.",
    )
    claimed_ratio: float | None = Field(
        None,
        gt=1,
        le=100,
        description="For `more`, a claim such as `40 % longer` (1.4) or `three times as loud` (3): what the "
        "measured ratio of the two must reach, besides the answer to the question.",
    )
    metric: str | None = Field(
        None,
        description="For `claimed_ratio`: the metric whose ratio counts, such as `decay_s`, or `nmax_sone` "
        "for loudness in sone.",
    )

    @property
    def of_kind(self) -> QuestionKind:
        """What its kind says of it."""
        return named(self.kind)

    @property
    def rule(self) -> Rule:
        """By which rule of the verdict it is decided."""
        return self.of_kind.rule

    @property
    def smallest_share(self) -> float:
        """The smallest effect that matters as a share of choices; log-odds are those of one listener."""
        if self.unit == "logit":
            return 1.0 / (1.0 + math.exp(-self.smallest_effect))
        return self.smallest_effect

    @property
    def outside_limit(self) -> float | None:
        """The share of listeners that may hear a difference of their own; None where none is set."""
        return self.split_limit if self.of_kind.is_equivalence else None

    @property
    def by_choices(self) -> bool:
        """Whether which of two was chosen decides it; else whether they are discriminated, or ratings, do."""
        return not self.of_kind.by_right_answers and self.unit != "points"

    @model_validator(mode="after")
    def _effect_fits_unit(self) -> Self:
        if (self.unit == "share not guessed") != self.of_kind.by_right_answers:
            raise ValueError(
                f'kind "{self.kind}" with unit "{self.unit}"; wanted unit "share not guessed" with kind '
                '"audible" alone'
            )
        if self.unit == "share not guessed" and self.smallest_effect >= 1:
            raise ValueError(
                f"smallest_effect {self.smallest_effect} as a share not guessed must lie between 0 and 1"
            )
        if self.unit == "share" and not 0.5 < self.smallest_effect < 1:
            raise ValueError(f"smallest_effect {self.smallest_effect} as a share must lie between 0.5 and 1")
        return self

    @model_validator(mode="after")
    def _subgroup_is_of_choices(self) -> Self:
        if self.among is not None and not self.by_choices:
            raise ValueError("`among` is known for questions that choices decide, not for other tasks")
        return self

    @model_validator(mode="after")
    def _several_pairs_are_choices(self) -> Self:
        several = self.contrast.form != "pair"
        if several and not (self.by_choices and self.of_kind.has_direction):
            raise ValueError(
                "a contrast of several pairs is an average, decided for kind `more` by choices alone: what "
                "holds on average need not hold for each; plan a question a pair instead (`each`)"
            )
        if several and (self.claimed_ratio is not None or self.presentation == ISOLATED):
            raise ValueError(
                "a contrast of several pairs has no `claimed_ratio` and no isolated stimuli; "
                "plan a question a pair"
            )
        return self

    @model_validator(mode="after")
    def _ratio_has_its_metric(self) -> Self:
        if (self.claimed_ratio is None) != (self.metric is None):
            raise ValueError(
                "`claimed_ratio` and `metric` go together: the ratio claimed, and of which measured value"
            )
        if self.claimed_ratio is not None and not self.of_kind.has_direction:
            raise ValueError(f'`claimed_ratio` belongs to kind "more", not to "{self.kind}"')
        if self.metric is not None and self.metric not in RATIO_METRICS:
            raise ValueError(
                f"metric `{self.metric}` has no ratio that could be claimed; wanted one of "
                f"{', '.join(RATIO_METRICS)}"
            )
        return self


class Superlative(Form):
    """One condition said, before the data, to have the most of an attribute of all that a block compares."""

    id: Name = Field(description="Short unique name.")
    attribute: Name = Field(description="Name of an attribute.")
    presentation: PresentationName = Field(description="Where it is decided.")
    condition: str = Field(description="The condition said to have the most, values joined by `/`.")
    smallest_effect: float = Field(
        0.6, gt=0.5, lt=1, description="Share of choices that it must reach against every other one."
    )
    alpha: float = Field(
        0.05,
        gt=0,
        le=0.2,
        description="One-sided error rate; every comparison must hold at it, so none is corrected.",
    )
