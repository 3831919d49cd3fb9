"""What became of a claimed ratio, such as `40 % longer`: the measured one beside what was heard."""

from typing import Annotated, Literal

from pydantic import AliasChoices, BeforeValidator, Field

from listening.records.forms.form import Form
from listening.records.found.interval import Interval

EARLIER = {"strokes": "strikes", "units": "specimens"}
Sampled = Annotated[Literal["strikes", "specimens"], BeforeValidator(lambda word: EARLIER.get(word, word))]


class ClaimedRatioFinding(Form):
    """A ratio claimed of a measured value; it holds if both the ratio measured and the question bear it."""

    claimed: float = Field(validation_alias=AliasChoices("claimed", "factor"))
    metric: str
    ratio: Interval | None = None
    """Geometric mean of the one condition over that of the other, with two one-sided limits; null where
    nothing was measured."""
    df: float | None = None
    """Of Student's t on the logarithms, unequal variances (Welch and Satterthwaite)."""
    n_more: int = 0
    n_than: int = 0
    sampled: Sampled = "strikes"
    """What the numbers count: strikes of one specimen of the product, or specimens."""
    measured: Literal["supported", "contradicted", "undecided", "no verdict"]
    """The measured half: supported if the lower limit reaches the ratio claimed."""
    word: Literal["supported", "contradicted", "undecided", "no verdict"]
    """Both halves together."""
    reason: str
