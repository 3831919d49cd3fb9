"""What was changed in a dealt study and kept its answers: which key, from what to what, and when."""

from typing import Literal

from listening.records.forms.form import Form

Scope = Literal["any time", "before opening", "wording", "stage"]


class Change(Form):
    """One key of the protocol."""

    key: str
    """Where it stands, named parts by their name: attributes[brightness].question."""
    was: str
    """Empty where there was nothing."""
    now: str
    """Empty where there is nothing any more."""
    scope: Scope
    """`any time`: nobody heard it or was led by it; `before opening`: only the analysis reads it; `wording`:
    listeners read it; `stage`: a stage with a plan of its own."""


class Amendment(Form):
    """Some changes made at once."""

    number: int
    """Counts from 1 within a deal."""
    at: str
    """UTC, ISO 8601."""
    reason: str
    before: str
    """Hash of the plan that it changed."""
    study_digest: str
    """Hash of the plan that it made."""
    changes: tuple[Change, ...]
    begun: int = 0
    """Sittings begun by then."""
    finished: int = 0
    """Of them, finished."""
    openings: int = 0
    """How often the key had been opened since the deal."""

    @property
    def adds_stage(self) -> bool:
        """Whether a late stage came with it."""
        return any(change.scope == "stage" for change in self.changes)

    @property
    def is_other_wording(self) -> bool:
        """Whether listeners read other words from now on, so that earlier sittings stand apart."""
        return any(change.scope == "wording" for change in self.changes)
