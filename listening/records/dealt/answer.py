"""One answer as the store gives it back; clip codes only."""

from listening.records.forms.form import Form


class Answer(Form):
    """What a listener said in one trial."""

    sitting: str
    listener: str
    """Code, no name."""
    slot: int
    trial: str
    attribute: str
    task: str
    clips: tuple[str, ...]
    answer: str
    """Paired comparison: `first`, `second` or `tie`."""
    response_s: float
    """From the first sound of the trial to the answer."""
    plays: int
    practice: bool
    simulated: bool
    answered_at: str
    """UTC, ISO 8601."""
    site: str = ""
    """Where several laboratories' sittings were brought together; empty: one only."""
