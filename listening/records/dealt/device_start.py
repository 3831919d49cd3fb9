"""How a station's sound device starts, as silent plays showed it before anybody sat there."""

from pydantic import Field

from listening.records.forms.form import FileForm


class DeviceStart(FileForm):
    """One device at one rate."""

    format: int = 1
    device: str = Field(min_length=1)
    rate_hz: int = Field(gt=0)
    longest_start_s: float = Field(ge=0, le=60)
    """Longest pause before it ran; the watchdog waits a multiple of it."""
    tried_at: str
