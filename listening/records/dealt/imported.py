"""A table of answers collected elsewhere: what its columns are called, and what was asked of it."""

from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from listening.errors import RecordError
from listening.records.forms import toml_lines
from listening.records.forms.form import Form, place
from listening.records.forms.text import read_toml
from listening.records.protocols import earlier_words
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question
from listening.records.protocols.protocol_parts import (
    Attribute,
    Block,
    Panel,
    Presentation,
    Recordings,
    Sitting,
)
from listening.records.protocols.questions import Name

NOT_SAID = "nobody said who they were"


class Columns(Form):
    """What each column is called in the heading of the table."""

    first: str = Field("first", description="One of the two compared; the one heard first, where known.")
    second: str = Field("second", description="The other one.")
    answer: str = Field("answer", description="`first`, `second` or `tie`; a table of counts has none.")
    chosen_first: str = Field("chosen_first", description="Counts: how often the first was chosen.")
    no_difference: str = Field("no_difference", description="Counts: how often neither was chosen.")
    chosen_second: str = Field("chosen_second", description="Counts: how often the second was chosen.")
    count: str = Field("count", description="How many answers a row stands for.")
    listener: str = Field("listener", description="Code of the listener.")
    stimulus_first: str = Field("stimulus_first", description="Which recording of the first was heard.")
    stimulus_second: str = Field("stimulus_second", description="Which recording of the second was heard.")


class Table(Form):
    """How to read the table."""

    columns: Columns = Columns()
    only: dict[str, str] = Field({}, description="Keep rows with this text in this column; others are left.")
    first_heard_first: bool = Field(
        False, description="Whether the column `first` holds what was heard first in its trial."
    )


class Asked(Form):
    """The one thing that the listeners were asked."""

    name: Name = Field("preference", description="Short name of the attribute.")
    wording: str = Field("Which of the two?", min_length=3, description="What the listeners were asked.")
    comparative: str = Field("more liked", min_length=1, description="The word of the claim.")


class Listened(Form):
    """Who listened, as far as anybody said."""

    stands_for: str = Field(NOT_SAID, min_length=10, description="Recruitment and inclusion.")
    training: Literal["naive", "trained"] | None = Field(None, description="Left out: nobody said.")
    simulated: bool = Field(False, description="Whether a program answered instead of people.")


class About(Form):
    """What is known of the table, and the questions put to it."""

    format: Literal[1] = 1
    name: Name = Field(description="Short name.")
    title: str = Field(min_length=3, description="Title of the report.")
    collected: str = Field("", description="Who collected the answers, when and how: one sentence.")
    table: Table = Table()
    asked: Asked = Asked()
    listened: Listened = Listened()
    labels: dict[str, str] = Field({}, description="How a condition is called in print.")
    questions: list[Question] = Field([], description="Claims to be held against the table.")

    @model_validator(mode="before")
    @classmethod
    def _questions_are_of_the_one_attribute(cls, raw: Any) -> Any:
        if not isinstance(raw, dict) or not isinstance(raw.get("questions"), list):
            return raw
        asked = raw.get("asked")
        attribute = asked.get("name", "preference") if isinstance(asked, dict) else "preference"
        own = {"attribute": attribute, "presentation": AS_RECORDED}
        return raw | {"questions": [own | q if isinstance(q, dict) else q for q in raw["questions"]]}

    @model_validator(mode="after")
    def _ids_are_unique(self) -> Self:
        ids = [question.id for question in self.questions]
        if doubled := sorted({one for one in ids if ids.count(one) > 1}):
            raise ValueError(f"questions: id {', '.join(doubled)} stands twice, wanted one question each")
        return self

    def as_protocol(self, conditions: tuple[str, ...], n_listeners: int) -> Protocol:
        """What a protocol of such a test would have said: for the analysis, which reads protocols."""
        attribute = Attribute(
            name=self.asked.name,
            wording=self.asked.wording,
            comparative=self.asked.comparative,
            no_difference=True,
        )
        return Protocol.model_construct(
            format=1,
            name=self.name,
            title=self.title,
            seed=0,
            recordings=Recordings(folder=".", factors=["condition"], use={"condition": list(conditions)}),
            panel=Panel(
                stands_for=self.listened.stands_for,
                training=self.listened.training or "naive",
                listeners=max(n_listeners, 1),
            ),
            presentations=[Presentation(name=AS_RECORDED)],
            attributes=[attribute],
            blocks=[Block(attribute=attribute.name, presentation=AS_RECORDED)],
            sitting=Sitting(welcome="held elsewhere", consent="held elsewhere"),
            labels=self.labels,
            questions=self.questions,
        )


class Imported(Form):
    """On a page: that the answers came from a table, and what the table says of itself."""

    table: str
    """Name of the file."""
    collected: str
    n_rows: int
    """Rows that were read."""
    n_answers: int
    n_no_difference: int
    listeners_known: bool
    order_known: bool
    """Whether the table says which of two was heard first."""
    training_known: bool
    log_nu: float | None = None
    """Readiness to answer `no difference`, Davidson's model; null without such answers."""


def load(path: Path) -> About:
    """What is said about a table in a TOML file.

    Raises
    ------
    RecordError
        It is no TOML, or not this form; every problem is named with its line.
    """
    text, raw = read_toml(path)
    raw = earlier_words.renewed(raw, path)
    try:
        return About.model_validate(raw)
    except ValidationError as error:
        at = toml_lines.lines(text)
        raise RecordError("\n".join(_problem(path, at, dict(e)) for e in error.errors()[:20])) from error


def _problem(path: Path, at: dict[toml_lines.Path, int], fault: dict[str, Any]) -> str:
    line = toml_lines.line_of(at, fault["loc"])
    where = f"{path}, line {line}" if line else str(path)
    wanted = {"missing": "wanted this key", "extra_forbidden": "no such key in this form; delete it"}
    said = wanted.get(fault["type"], str(fault["msg"]).removeprefix("Value error, "))
    return f"{where}: {place(fault['loc'])}: {said}"
