"""How a test was carried out, for the footnote of a sentence in print: when, by whom, over what, on what."""

from pydantic import AliasChoices, Field

from listening.records.forms.form import Form


class Sampled(Form):
    """What was recorded of one condition and heard."""

    condition: str
    n_specimens: int = Field(validation_alias=AliasChoices("n_specimens", "n_units"))
    """Pieces of the product that were recorded; 0 where the table of recordings does not say."""
    recordings: tuple[str, ...]
    """Their names, one a strike."""


class Conducted(Form):
    """What the public, and counsel, ask first. An empty text means that nobody wrote it down."""

    first_day: str = ""
    """Day of the first finished sitting (UTC), as 2026-11-25."""
    last_day: str = ""
    run_by: str = ""
    heard_over: str = ""
    """`headphones` or `loudspeakers`."""
    level_db: float = 0.0
    """Level at the listener over that of the recordings."""
    sampled: tuple[Sampled, ...] = ()

    def of(self, condition: str) -> Sampled | None:
        """What was recorded of that condition."""
        return next((one for one in self.sampled if one.condition == condition), None)
