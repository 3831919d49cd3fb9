"""An estimate with its bounds, as every form of findings holds it."""

from listening.records.form import Form


class Interval(Form):
    """An estimate with its bounds; a bound that the data cannot give is null."""

    value: float
    lower: float | None
    upper: float | None
    level: float
    """Coverage of the two bounds together: 0.9 for two one-sided bounds at 0.05."""
