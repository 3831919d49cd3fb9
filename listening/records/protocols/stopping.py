"""When listening ends, and whether anybody may look at the answers before; fixed before the data."""

from typing import Literal, Self

from pydantic import Field, model_validator

from listening.records.forms.form import Form


class Stopping(Form):
    """The stopping rule: the planned number of listeners, unless a look planned here decides earlier."""

    looks: list[int] = Field(
        [], max_length=20, description="Planned looks before the end, each at so many finished listeners."
    )
    spending: Literal["none", "O'Brien-Fleming", "Pocock"] = Field(
        "none",
        description="How the error rate is shared out over the looks (alpha spending): `O'Brien-Fleming` "
        "saves nearly all of it for the end, `Pocock` spends it evenly.",
    )
    fewest: int | None = Field(
        None,
        ge=1,
        description="So many finished listeners are enough when recruitment ends early (said with --closed); "
        "left out, all planned ones are needed.",
    )

    withdrawn: Literal["count", "replace"] | None = Field(
        None,
        description="What holds when a listener who had finished withdraws before the first analysis: "
        "`count` them, so that the end is reached although their answers are gone; `replace` them by another "
        "listener. Left out: `replace`.",
    )

    @model_validator(mode="after")
    def _looks_go_with_spending(self) -> Self:
        if bool(self.looks) != (self.spending != "none"):
            raise ValueError("`looks` and a `spending` rule go together: give both, or neither")
        if sorted(set(self.looks)) != self.looks or any(n < 1 for n in self.looks):
            raise ValueError(f"looks {self.looks}: wanted growing numbers of listeners")
        return self

    def faults(self, listeners: int) -> str:
        """What does not fit the planned number of listeners; empty when all does."""
        if self.looks and self.looks[-1] >= listeners:
            return f"a look at {self.looks[-1]} listeners is not before the end at {listeners}"
        if self.fewest is not None and self.fewest > listeners:
            return f"fewest = {self.fewest} is above the {listeners} planned listeners"
        return ""
