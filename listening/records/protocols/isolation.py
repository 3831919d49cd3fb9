"""How a protocol asks for stimuli in which one attribute moves alone."""

from itertools import product
from typing import Self

from pydantic import Field, model_validator

from listening.records.forms.form import Form

BRIGHTNESS = ("dull", "bright")
DECAY = ("short", "long")
LEVEL = ("soft", "loud")


class Isolation(Form):
    """Strikes of one condition, taken apart and put together again: what moves, how far, what must stay."""

    base: str = Field(description="Condition whose strikes are taken apart.")
    toward: str | None = Field(
        None, description="Condition whose damping and brightness the other end takes; instead of ratios."
    )
    brightness_ratio: float | None = Field(
        None, gt=0.3, lt=3, description="Brightness of the other end over that of the base."
    )
    decay_ratio: float | None = Field(
        None, gt=0.2, lt=5, description="T60 of every partial of the other end over that of the base."
    )
    level_db: float | None = Field(
        None, gt=0, le=12, description="Third factor: every combination also so much stronger."
    )
    brightness_tolerance: float = Field(
        0.02, gt=0, le=0.2, description="Share by which brightness may move where it should stay."
    )
    decay_tolerance: float = Field(
        0.05, gt=0, le=0.3, description="Share by which the study's decay may move where it should stay."
    )
    t60_tolerance: float = Field(
        0.05, ge=0, le=0.3, description="Share by which every partial's T60 may be moved to hold the decay."
    )
    peak_tolerance_db: float = Field(
        3.0, gt=0, le=12, description="By how much the peak may move, at the matched level."
    )
    strike_noise_tolerance_db: float = Field(
        4.0, gt=0, le=12, description="By how much the strike's noise may move, at the matched level."
    )

    @model_validator(mode="after")
    def _asks_for_something_once(self) -> Self:
        ratios = [r for r in (self.brightness_ratio, self.decay_ratio) if r is not None]
        if (self.toward is None) == (not ratios):
            raise ValueError("wants either `toward`, or `brightness_ratio`, `decay_ratio` or both")
        if any(0.99 < r < 1.01 for r in ratios):
            raise ValueError("a ratio within 1 % of 1 moves nothing")
        if self.toward == self.base:
            raise ValueError(f"`toward` is the base itself ({self.base})")
        return self

    @property
    def conditions(self) -> list[str]:
        """Every combination that is made, such as `bright/short`."""
        sides = []
        if self.toward or self.brightness_ratio:
            sides.append(BRIGHTNESS)
        if self.toward or self.decay_ratio:
            sides.append(DECAY)
        if self.level_db:
            sides.append(LEVEL)
        return ["/".join(levels) for levels in product(*sides)]
