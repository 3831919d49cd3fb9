"""What happens with the sound and the answer of one step; a new step begins a new one."""

from dataclasses import dataclass, replace


@dataclass(frozen=True)
class Turn:
    """What happened with one step so far; what comes next is another turn."""

    begun: int = 0
    """Plays started."""
    finished: int = 0
    """Plays heard to the end."""
    running: bool = False
    clip: int | None = None
    """Which sound of the program sounds now."""
    share: float = 0.0
    """How much of it is over, 0 to 1."""
    heard: frozenset[int] = frozenset()
    """Sounds of the program that have begun to sound."""
    onset_s: float | None = None
    """First sound of the first play."""
    chosen: str | None = None
    """The answer marked so far, where one is chosen from a list."""
    values: tuple[float | None, ...] = ()
    """The marks set so far, one a rated sound, where answers are set on a scale."""
    row: int = 0
    """Which rated sound the scale keys move."""
    typed: str = ""
    """Digits of a number for that sound, not taken yet."""
    order: tuple[int, ...] = ()
    """Rated sounds as they stand on the screen; empty: as they are lettered."""
    part: tuple[float, float] = (0.0, 1.0)
    """What of a loop is heard, as shares of it."""
    began_s: float | None = None
    """When the play that runs was started."""
    waits_s: float | None = None
    """Since when an answer is waited for."""
    is_late: bool = False
    """Whether the listener was asked to answer now."""
    answered_s: float = 0.0
    """When the answer was last changed."""
    voids: int = 0
    entered_s: float = 0.0

    def following(self, before: "Turn") -> "Turn":
        """Another question about the sounds of the turn before: they were heard, and count as played.

        The time to answer runs from now.
        """
        return replace(
            self, begun=before.begun, finished=before.finished, heard=before.heard, onset_s=self.entered_s
        )

    def anew(self) -> "Turn":
        """The same step from its start, plays and answer forgotten: the trial did not count."""
        return Turn(
            values=(None,) * len(self.values),
            voids=self.voids + 1,
            answered_s=self.answered_s,
            entered_s=self.entered_s,
        )
