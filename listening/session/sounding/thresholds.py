"""The softest tone that is heard, found by going up in small steps.

The ascending method of ISO 8253-1 in its shortened form, as remembered and in our own words: from a clear
tone down in steps of 10 dB until it is not heard; then up in steps of 5 dB until it is, 10 dB down, and up
again. The threshold is the level at which two ascents ended. Where none of five agree, the median is taken
and said to be unsteady: that is ours.
"""

from dataclasses import dataclass, field
from statistics import median

DOWN_DB = 10.0
UP_DB = 5.0
AGREEING = 2  # ascents that end at the same level
MOST_ASCENTS = 5
MISSES_AT_TOP = 2  # so often unheard at the loudest tone allowed: not heard at all


@dataclass
class Track:
    """One ear at one frequency; levels are dB re full scale.

    Ask `level_db` for the next tone, tell `answer` whether it was heard, until `is_over`.
    """

    start_db: float
    softest_db: float
    loudest_db: float
    level_db: float = field(init=False)
    threshold_db: float | None = field(default=None, init=False)
    """None as long as it is not known, and where the loudest tone was not heard."""
    is_over: bool = field(default=False, init=False)
    is_steady: bool = field(default=False, init=False)
    """Whether two ascents ended at the same level."""

    def __post_init__(self) -> None:
        self.level_db = min(self.start_db, self.loudest_db)
        self._descends = True
        self._ends: list[float] = []
        self._missed_at_top = 0

    def answer(self, *, heard: bool) -> None:
        """Whether the tone at `level_db` was heard; sets the next level."""
        if not heard:
            self._miss()
        elif self._descends:
            self._go_down()
        else:
            self._end_ascent()

    def _miss(self) -> None:
        self._descends = False
        if self.level_db >= self.loudest_db:
            self._missed_at_top += 1
            self.is_over = self._missed_at_top >= MISSES_AT_TOP
        self.level_db = min(self.level_db + UP_DB, self.loudest_db)

    def _go_down(self) -> None:
        if self.level_db <= self.softest_db:
            self._end_ascent()
        else:
            self.level_db = max(self.level_db - DOWN_DB, self.softest_db)

    def _end_ascent(self) -> None:
        self._ends.append(self.level_db)
        if self._ends.count(self.level_db) >= AGREEING:
            self.threshold_db, self.is_steady, self.is_over = self.level_db, True, True
        elif len(self._ends) >= MOST_ASCENTS:
            self.threshold_db, self.is_over = float(median(self._ends)), True
        self.level_db = max(self.level_db - DOWN_DB, self.softest_db)
