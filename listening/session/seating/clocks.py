"""Where a sitting's time comes from."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta

CLOCK_SLACK = timedelta(minutes=2)  # booths on one store may differ by so much


@dataclass(frozen=True)
class Clocks:
    """Where time comes from."""

    now_s: Callable[[], float]
    """Monotonic seconds; the player's onsets are on it."""
    utc: Callable[[], str]
    """Wall clock, ISO 8601."""
