"""What a planned question compares: two conditions, or several pairs of them taken together."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Any, Literal, Self

from pydantic import Field, model_validator

from listening.records.forms.form import Form

EVERY = "*"  # stands for the value that changes from pair to pair
ContrastForm = Literal["pair", "averaged", "trend", "interaction"]
Pair = tuple[str, str]


class Other(Form):
    """A second difference, which the first is said to be larger than."""

    more: str = Field(description="Condition, the values of its factors joined by `/`.")
    than: str = Field(description="Condition, the values of its factors joined by `/`.")


class Contrast(Form):
    """Two conditions: the one said to have more (or the same) and the one it is compared with.

    Or several pairs: a main effect averaged over another factor (`*` and `over`), a trend over the values
    of one (`through`), an interaction (`exceeds`), or a question for each of several products (`each`).
    """

    more: str = Field(
        description="Condition, the values of its factors joined by `/`; `*` for the value that changes."
    )
    than: str = Field(
        description="Condition, the values of its factors joined by `/`; `*` for the value that changes."
    )
    over: list[str] = Field(
        [], max_length=50, description="Values that `*` stands for, one pair each; their mean is decided."
    )
    each: list[str] = Field(
        [],
        max_length=50,
        description="Values that `*` stands for, each a question of its own, `ID VALUE`, in one family: with "
        "`*` in `more` alone, products against one reference.",
    )
    through: list[str] = Field(
        [],
        max_length=20,
        description="A trend: the conditions between `than` and `more`, in order; the mean over the steps "
        "from each to the next is decided.",
    )
    exceeds: Other | None = Field(
        None, description="An interaction: the difference is said to be larger than the one named here."
    )

    @property
    def form(self) -> ContrastForm:
        """What is taken together."""
        if self.exceeds is not None:
            return "interaction"
        return "trend" if self.through else "averaged" if self.over else "pair"

    @property
    def pairs(self) -> tuple[Pair, ...]:
        """(more, than) of each pair that is compared directly.

        Those of a second difference are turned round: then the mean share of `more` is even where the two
        differences are equal, and above where the first is larger.
        """
        if self.through:
            steps = [self.than, *self.through, self.more]
            return tuple((after, before) for before, after in pairwise(steps))
        first = self._filled(self.more, self.than)
        if self.exceeds is None:
            return first
        return (*first, *self._filled(self.exceeds.than, self.exceeds.more))

    @property
    def conditions(self) -> tuple[str, ...]:
        """All that are compared."""
        return tuple(dict.fromkeys(name for pair in self.pairs for name in pair))

    def _filled(self, more: str, than: str) -> tuple[Pair, ...]:
        levels = self.over or [EVERY]
        return tuple((more.replace(EVERY, level), than.replace(EVERY, level)) for level in levels)

    @model_validator(mode="after")
    def _star_has_its_levels(self) -> Self:
        named = [self.more, self.than, *([self.exceeds.more, self.exceeds.than] if self.exceeds else [])]
        stars = [name.count(EVERY) for name in named]
        if self.over or self.each:
            if max(stars) > 1 or not stars[0] or (self.over and min(stars) != 1):
                raise ValueError(
                    f"`over` wants one `{EVERY}` in every condition of the contrast, `each` one in `more`"
                )
            if bool(self.over) == bool(self.each) or len(set(self.over)) != len(self.over):
                raise ValueError("`over` or `each`, not both, each value once")
            if len(self.over) == 1 or self.through:
                raise ValueError("`over` wants two values or more, and no `through` beside it")
        elif any(stars):
            raise ValueError(f"`{EVERY}` stands for values: name them in `over` or `each`")
        return self

    @model_validator(mode="after")
    def _pairs_differ(self) -> Self:
        if self.through and self.exceeds is not None:
            raise ValueError("`through` and `exceeds` do not go together: plan two questions")
        pairs = self.pairs
        if same := [more for more, than in pairs if more == than]:
            raise ValueError(f"the contrast compares {same[0]} with itself")
        if len({frozenset(pair) for pair in pairs}) < len(pairs):
            raise ValueError("the contrast compares one pair twice")
        return self


def spelt_out(raw: Any) -> Any:
    """A protocol's table with a question for each level that `each` lists; anything else as it is."""
    questions = raw.get("questions") if isinstance(raw, Mapping) else None
    if not isinstance(questions, list):
        return raw
    return {**raw, "questions": [one for question in questions for one in _of_each(question)]}


def _of_each(question: Any) -> list[Any]:
    planned = question.get("contrast") if isinstance(question, Mapping) else None
    each = planned.get("each") if isinstance(planned, Mapping) else None
    if not isinstance(planned, Mapping) or not isinstance(each, list) or not each:
        return [question]
    ends = {end: planned.get(end) for end in ("more", "than")}
    if not all(isinstance(name, str) for name in (*each, *ends.values())) or EVERY not in str(ends["more"]):
        return [question]  # the form says what is wrong with it
    others = {key: value for key, value in planned.items() if key not in ("each", "more", "than")}
    return [
        {
            **question,
            "id": f"{question.get('id')} {level}",
            "family": question.get("family") or str(question.get("id")),
            "contrast": {**others, **{end: str(name).replace(EVERY, level) for end, name in ends.items()}},
        }
        for level in each
    ]
