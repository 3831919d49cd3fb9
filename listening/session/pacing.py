"""The times of a sitting: when a rest is due, when it is enough, when nobody is there."""

from dataclasses import dataclass

from listening.records.protocols.protocol_parts import Sitting as Rules
from listening.session.answering.turn import Turn

MINUTE_S = 60.0


@dataclass(frozen=True)
class Pace:
    """Since when, on the session's clock."""

    rules: Rules
    began_s: float
    rested_s: float
    touched_s: float
    """When a key was last pressed."""

    def wants_rest(self, now_s: float) -> bool:
        """Whether trials went on for so long that a break is due."""
        every = self.rules.break_every_min
        return every is not None and now_s - self.rested_s >= every * MINUTE_S

    def is_enough(self, now_s: float) -> bool:
        """Whether this run has lasted as long as one may."""
        most = self.rules.session_at_most_min
        return most is not None and now_s - self.began_s >= most * MINUTE_S

    def is_idle(self, now_s: float) -> bool:
        """Whether nobody has pressed a key for too long."""
        after = self.rules.idle_after_min
        return after is not None and now_s - self.touched_s >= after * MINUTE_S

    def is_long_loop(self, turn: Turn, now_s: float) -> bool:
        """Whether a loop has gone round for as long as it may."""
        return turn.began_s is not None and now_s - turn.began_s >= self.rules.loops_at_most_s

    def is_late(self, turn: Turn, now_s: float) -> bool:
        """Whether the answer should have come."""
        within = self.rules.answer_within_s
        return within is not None and turn.waits_s is not None and now_s - turn.waits_s >= within
