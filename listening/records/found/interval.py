"""An estimate with its confidence limits, as every form of findings holds it."""

from pydantic import AliasChoices, Field

from listening.records.forms.form import Form


class Interval(Form):
    """An estimate with its confidence limits; a limit that the data cannot give is null."""

    value: float
    lower: float | None
    upper: float | None
    coverage: float = Field(validation_alias=AliasChoices("coverage", "level"))
    """Of the two limits together: 0.9 for two one-sided limits at 0.05."""
