"""The plan a blind station works from: clip codes and wordings, never what a clip stands for."""

from pathlib import Path
from typing import Self

from pydantic import AliasChoices, Field

from listening.errors import StudyError
from listening.records.forms.form import FileForm, Form, digest_of, hashed
from listening.records.protocols.protocol_parts import Sitting


class PlannedTrial(Form):
    """One trial: the clips in the order they sound."""

    trial: str
    """Id, unique within a slot."""
    attribute: str
    clips: tuple[str, ...]
    practice: bool = False
    reference: str | None = None
    """Clip code of a sound that is named as the reference: duo-trio, multiple stimulus."""
    follows: bool = False
    """Whether it asks about the sounds of the trial before, which were heard for both."""
    start_gain_db: float = 0.0
    """Adjustment: gain of the second clip when the trial begins."""
    session: int = 1
    """In which of the listener's sessions it is heard."""

    @property
    def every(self) -> tuple[str, ...]:
        """All its clips, the reference included."""
        return self.clips if self.reference is None else (self.reference, *self.clips)


class Slot(Form):
    """One listener's run through the study."""

    slot: int
    trials: tuple[PlannedTrial, ...]
    cell: tuple[int, ...] = ()
    """Where the slot stands in each balanced property, as bare numbers: slots that agree stand for each
    other."""
    stage: int = 1
    """The stage it belongs to; above 1 it came by an amendment."""


class PlannedAttribute(Form):
    """How one attribute is asked."""

    name: str
    task: str
    wording: str = Field(validation_alias=AliasChoices("wording", "question"), serialization_alias="question")
    explanation: str
    no_difference: bool = False
    scale: tuple[str, ...] = ()
    """Labels from least to most."""
    scale_bands: bool = False
    """Whether each label stands over a band of the scale, not over a place on it."""
    switching: bool = False
    """Whether the listener goes to and fro between the sounds."""
    switching_to: str = "same place"
    """Where the other sound is entered: at the same place, or at its start."""
    loops: bool = False
    example_more: str | None = Field(
        default=None,
        validation_alias=AliasChoices("example_more", "anchor_more"),
        serialization_alias="anchor_more",
    )
    """Clip code of the example with more of it."""
    example_less: str | None = Field(
        default=None,
        validation_alias=AliasChoices("example_less", "anchor_less"),
        serialization_alias="anchor_less",
    )


class ClipFile(Form):
    """One coded clip in the clips folder: `<clip>.wav`."""

    clip: str
    digest: str
    """SHA-256 of the file's bytes."""


class PlannedStage(Form):
    """A late stage: slots behind those that were there."""

    stage: int
    first_slot: int
    listeners: int
    """Planned; its slots beyond are spare."""


class Amended(Form):
    """A plan that this one took the place of, answers kept."""

    study_digest: str
    is_same_wording: bool
    """Whether listeners read the same words under it as under this one."""
    adds_stage: bool = False
    """Whether what came after it has a stage more."""


class Plan(FileForm):
    """The frozen plan."""

    format: int = 1
    version: str
    protocol_digest: str
    manifest_digest: str
    key_digest: str
    """Hash of the sealed key, salted with its secret."""
    study_digest: str
    """One hash over protocol, stimuli, key, clips, orders, wordings: printed on every sitting and report."""
    study_version: int = 1
    """Counts the deals of this study; the reason for a new one lies with the researcher."""
    dealt_at: str
    order_seed: int | None = None
    """Deals of earlier versions: the seed of orders, practice and tones."""
    station_seed: str = ""
    """What the station draws practice and tones from; it tells nothing about the orders."""
    open_seed: int | None = None
    """Set where anybody can make the orders and codes again: tests and demonstrations."""
    rate_hz: int
    level_check_clip: str
    """A clip to set a comfortable level with."""
    sitting: Sitting
    attributes: tuple[PlannedAttribute, ...]
    clips: tuple[ClipFile, ...]
    slots: tuple[Slot, ...]
    is_chained: bool = False
    """Whether answers, events and the record of the study hang in chains; earlier versions dealt without."""
    listeners: int | None = None
    """How many listeners are planned; the slots beyond are spare."""

    sessions_apart_h: float = 0.0
    """Hours between two sessions of a listener, at least."""
    stages: tuple[PlannedStage, ...] = ()
    """Late stages, the first deal left out."""
    amends: tuple[Amended, ...] = ()
    """What was amended since the deal, oldest first."""

    @property
    def dealt_digest(self) -> str:
        """The hash of the plan as it was dealt, before any amendment."""
        return self.amends[0].study_digest if self.amends else self.study_digest

    @property
    def digests(self) -> tuple[str, ...]:
        """The hashes of this plan since its deal, oldest first."""
        return (*(one.study_digest for one in self.amends), self.study_digest)

    def is_same_wording(self, study_digest: str) -> bool:
        """Whether a sitting under the plan of that hash met the same sounds and words as under this one."""
        alike = {one.study_digest for one in self.amends if one.is_same_wording}
        return study_digest in {*alike, self.study_digest}

    @property
    def drawn_from(self) -> str:
        """What the station draws practice and tones from."""
        return self.station_seed or str(self.order_seed)

    @property
    def planned(self) -> int:
        """How many listeners are planned for the deal itself."""
        return len(self.slots) if self.listeners is None else self.listeners

    @property
    def planned_of_each(self) -> dict[int, int]:
        """How many listeners are planned, by stage."""
        return {1: self.planned} | {one.stage: one.listeners for one in self.stages}

    @property
    def same_question(self) -> tuple[str, ...]:
        """The hashes of this plan since its last stage came, oldest first: looks then asked the same."""
        last = max((i for i, one in enumerate(self.amends) if one.adds_stage), default=-1)
        return self.digests[last + 1 :]

    def of_stage(self, number: int) -> tuple[Slot, ...]:
        """The slots of a stage."""
        return tuple(slot for slot in self.slots if slot.stage == number)

    @classmethod
    def load(cls, path: Path) -> Self:
        """The plan in a file, whole and unaltered; raises as `FileForm.load`, and StudyError when altered."""
        plan = super().load(path)
        if plan.study_digest != plan.content_digest():
            raise StudyError(
                f"{path}: the plan was altered after it was dealt (its content has hash "
                f"{plan.content_digest()[:16]}, the study {plan.study_digest[:16]}); copy the dealt one again"
            )
        return plan

    def sealed(self) -> Self:
        """The plan under the hash of its own content."""
        return self.model_copy(update={"study_digest": self.content_digest()})

    def content_digest(self) -> str:
        """Hash of everything in the plan but the hash itself."""
        return digest_of(hashed(self, without=frozenset({"study_digest"})))

    def switched(self) -> set[str]:
        """Codes of clips that some trial lets the listener go to and fro between."""
        return {
            clip
            for slot in self.slots
            for trial in slot.trials
            if self.attribute(trial.attribute).switching
            for clip in trial.every
        }

    @property
    def n_sessions(self) -> int:
        """To how many sessions a listener comes."""
        return max((slot.trials[-1].session for slot in self.slots if slot.trials), default=1)

    def attribute(self, name: str) -> PlannedAttribute:
        """The attribute of that name."""
        return next(a for a in self.attributes if a.name == name)
