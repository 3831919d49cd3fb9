"""What `measure` found: one row of numbers a recording, and the spread over the strikes of a condition."""

from typing import Literal

from pydantic import AliasChoices, Field

from listening.records.forms.form import FileForm, Form


class MeasuredRecording(Form):
    """The metrics of one recording; a metric that cannot be had is null."""

    recording: str
    condition: str
    strike: str
    specimen: str = Field(validation_alias=AliasChoices("specimen", "unit"))
    calibrated: bool
    channel: int | Literal["average"] = 1
    """Which channel was measured, from 1: that of the table, else the loudest; or the average of all."""
    flags: tuple[str, ...] = ()
    measures: dict[str, float | None]


class Spread(Form):
    """One metric over the strikes of one condition."""

    condition: str
    metric: str
    n: int
    mean: float
    sd: float | None
    expanded_uncertainty: float | None = None
    """GUM, coverage factor 2, of the mean."""


class CalibratorFound(Form):
    """What the calibrator's recordings said of the chain."""

    level_db: float
    frequency_hz: float
    pascal_per_full_scale: float
    drift_db: float | None
    """Sensitivity after less before; null where it was recorded once."""


class Measures(FileForm):
    """All of them."""

    format: int = 1
    version: str
    protocol_digest: str
    calibrator: CalibratorFound | None = None
    background: str | None = None
    """The room alone, where it was recorded: it is taken off energies."""
    recordings: tuple[MeasuredRecording, ...]
    spreads: tuple[Spread, ...]
