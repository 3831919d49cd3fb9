"""The protocol a researcher writes before any data: what is compared, asked, planned and decided."""

import re
from pathlib import Path
from typing import Any, Literal, Self, get_args

from pydantic import BaseModel, Field, ValidationError, model_validator

from listening.errors import RecordError
from listening.records.forms import toml_lines
from listening.records.forms.form import Form, digest_of, place
from listening.records.forms.problem import Fault, KeyPath, Problem, listing
from listening.records.forms.text import loads_toml, read_text
from listening.records.kinds import tasks
from listening.records.protocols import contrasts, earlier_words, protocol_names
from listening.records.protocols.contrasts import Contrast
from listening.records.protocols.isolation import Isolation
from listening.records.protocols.playback import Playback
from listening.records.protocols.protocol_parts import (
    Attribute,
    Block,
    Control,
    Covariates,
    Exclusions,
    Panel,
    Presentation,
    Recordings,
    Sitting,
    Trimming,
)
from listening.records.protocols.questions import (
    AS_RECORDED,
    ISOLATED,
    MATCHED,
    Among,
    Name,
    Question,
    Superlative,
)
from listening.records.protocols.sessions import Sessions
from listening.records.protocols.stages import FIRST, Stage
from listening.records.protocols.stopping import Stopping

__all__ = [
    "AS_RECORDED",
    "ISOLATED",
    "MATCHED",
    "Among",
    "Contrast",
    "Question",
    "Superlative",
]  # of `questions`


class Protocol(Form):
    """The whole protocol."""

    format: Literal[1] = Field(description="Version of this form.")
    name: Name = Field(description="Short name of the study.")
    title: str = Field(min_length=3, description="Title of the report. Listeners never see it.")
    seed: int = Field(
        0,
        ge=0,
        description="Seed of the examples that planning counts with; no dealt order comes from it.",
    )
    recordings: Recordings
    panel: Panel
    presentations: list[Presentation] = Field(min_length=1, max_length=3)
    trimming: Trimming = Trimming()
    playback: Playback = Playback()
    isolation: Isolation | None = Field(None, description="What `isolated` stimuli are made of.")
    attributes: list[Attribute] = Field(min_length=1, max_length=12)
    blocks: list[Block] = Field(min_length=1)
    controls: list[Control] = Field(default=[])
    sitting: Sitting
    sessions: Sessions = Sessions()
    exclusions: Exclusions = Exclusions()
    stopping: Stopping = Stopping()
    covariates: Covariates = Covariates()
    stages: list[Stage] = Field(
        default=[], max_length=19, description="Late stages, added to the dealt study by `listening amend`."
    )
    labels: dict[str, str] = Field({}, description="How a condition is called in print.")
    questions: list[Question] = Field(
        default=[], description="Needed as soon as one attribute is a paired comparison."
    )
    superlatives: list[Superlative] = Field(
        default=[], description="Conditions named beforehand as having the most of an attribute."
    )

    @model_validator(mode="before")
    @classmethod
    def _each_is_spelt_out(cls, raw: Any) -> Any:
        return contrasts.spelt_out(raw)

    @model_validator(mode="after")
    def _names_are_known_and_unique(self) -> Self:
        found = protocol_names.faults(self.model_dump())
        if found:
            raise ValueError("; ".join(f"{place(f.path)}: found {f.found}, wanted {f.wanted}" for f in found))
        return self

    @model_validator(mode="after")
    def _subgroups_are_asked(self) -> Self:
        asked = {one.wording: one.answers for one in self.sitting.questionnaire}
        for planned in self.questions:
            if planned.among is None:
                continue
            at, known = f"questions `{planned.id}`: among", asked.get(planned.among.wording)
            if known is None:
                there = list(asked) or "none: add [[sitting.questionnaire]]"
                raise ValueError(
                    f"{at}: the questionnaire does not ask `{planned.among.wording}`; wanted one of {there}"
                )
            if strange := [one for one in planned.among.answers if one not in known]:
                raise ValueError(f"{at}: found `{strange[0]}`, wanted some of {known}")
        return self

    @model_validator(mode="after")
    def _covariates_are_asked(self) -> Self:
        asked = [one.wording for one in self.sitting.questionnaire]
        for wording in self.covariates.listeners:
            if wording not in asked:
                there = asked or "none: add [[sitting.questionnaire]]"
                raise ValueError(
                    f"covariates.listeners: the questionnaire does not ask `{wording}`; wanted some of "
                    f"{there}"
                )
        return self

    @model_validator(mode="after")
    def _training_has_ratings(self) -> Self:
        if self.sitting.training and not any(tasks.named(a.task).family == "rating" for a in self.attributes):
            rated = ", ".join(tasks.names(family="rating"))
            raise ValueError(f"`sitting.training` is for rated attributes, and none is rated: wanted {rated}")
        return self

    @model_validator(mode="after")
    def _isolation_is_presented(self) -> Self:
        if (self.isolation is None) == any(p.name == ISOLATED for p in self.presentations):
            raise ValueError("the section `isolation` and a presentation named `isolated` go together")
        return self

    @model_validator(mode="after")
    def _stopping_fits_the_panel(self) -> Self:
        if fault := self.stopping.faults(self.panel.listeners):
            raise ValueError(f"stopping: {fault}")
        return self

    def together_with(self, attribute: str) -> list[str]:
        """The attributes asked about the same pairs as this one, itself among them."""
        names = self.sitting.together
        return list(names) if attribute in names else [attribute]

    def of_stage(self, number: int) -> Self:
        """What one stage asks of its listeners, as a protocol of its own without stages."""
        own = {
            name: [row for row in getattr(self, name) if row.stage == number]
            for name in ("blocks", "controls", "questions")
        }
        panel = self.panel
        if number != FIRST:
            late = next(one for one in self.stages if one.stage == number)
            panel = panel.model_copy(update={"listeners": late.listeners, "spare": late.spare})
            own["superlatives"] = []
        return self.model_copy(update={**own, "panel": panel, "stages": []})

    @property
    def n_planned(self) -> int:
        """Listeners planned over all stages."""
        return self.panel.listeners + sum(one.listeners for one in self.stages)

    def presentation(self, name: str) -> Presentation:
        """The presentation of that name."""
        return next(p for p in self.presentations if p.name == name)

    def attribute(self, name: str) -> Attribute:
        """The attribute of that name."""
        return next(a for a in self.attributes if a.name == name)

    @property
    def paired_loudness(self) -> str | None:
        """The paired comparison that asks for level itself; None without one."""
        return next(
            (a.name for a in self.attributes if a.about_level and a.task == tasks.PAIRED_COMPARISON.name),
            None,
        )

    def label(self, condition: str) -> str:
        """How a condition is called in print."""
        named = "/".join(level for level in condition.split("/") if level != contrasts.EVERY)
        return self.labels.get(condition, named.replace("/", ", ").replace("_", " "))


def problems(path: Path) -> tuple[Protocol | None, list[Problem]]:
    """The protocol in a TOML file, if it can be read, and every problem in it, in the order of its lines."""
    text = read_text(path)
    try:
        raw = earlier_words.renewed(loads_toml(text, path), path)
    except RecordError as error:
        said = str(error).removeprefix(f"{path}: ")
        line = int(match[1]) if (match := re.search(r"line (\d+)", said)) else None
        return None, [Problem(str(path), "the whole file", said, "a TOML file", line)]
    try:
        return Protocol.model_validate(raw), []
    except ValidationError as error:
        found_by_form = [_fault(dict(fault)) for fault in error.errors()]
    faults = [f for f in found_by_form if f.path] + protocol_names.faults(raw)
    at = toml_lines.lines(text)
    found = [
        Problem(str(path), place(f.path), f.found, f.wanted, toml_lines.line_of(at, f.path))
        for f in faults or found_by_form  # what belongs to no key alone stands for itself
    ]
    return None, sorted(found, key=lambda problem: problem.line or 0)


def _fault(fault: dict[str, Any]) -> Fault:
    found = repr(fault.get("input")) if fault["loc"] else "sections that do not fit each other"
    found = found if len(found) <= 80 else found[:77] + "..."
    wanted = fault["msg"].removeprefix("Value error, ")
    if fault["type"] == "missing":
        found, wanted = "nothing", "this key"
    elif fault["type"] == "extra_forbidden":
        found, wanted = "an unknown key", f"a key of the protocol form{_closest(fault['loc'])}"
    return Fault(fault["loc"], found, wanted)


def _closest(location: KeyPath) -> str:
    """The known key that a misspelt one is nearest to, among its neighbours first."""
    form: type[BaseModel] = Protocol
    for part in location[:-1]:
        if isinstance(part, str) and part in form.model_fields:
            form = _inner_form(form.model_fields[part].annotation) or form
    return protocol_names.suggestion(str(location[-1]), list(form.model_fields))


def _inner_form(annotation: Any) -> type[BaseModel] | None:
    for kind in (annotation, *get_args(annotation)):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
    return None


def load(path: Path) -> Protocol:
    """The protocol in a TOML file.

    Raises
    ------
    RecordError
        It has problems; all are listed.
    """
    protocol, found = problems(path)
    if protocol is None:
        raise RecordError(listing(found))
    return protocol


def digest(path: Path) -> str:
    """SHA-256 of the protocol's text: one changed byte changes it."""
    return digest_of(read_text(path))
