"""What happens with the sound and the answer of one step; a new step begins a new one."""

from dataclasses import dataclass, field


@dataclass
class Turn:
    """The passing state of one step."""

    begun: int = 0
    """Plays started."""
    finished: int = 0
    """Plays heard to the end."""
    running: bool = False
    clip: int | None = None
    """Which sound of the program sounds now."""
    share: float = 0.0
    """How much of it is over, 0 to 1."""
    heard: set[int] = field(default_factory=set)
    """Sounds of the program that have begun to sound."""
    onset_s: float | None = None
    """First sound of the first play."""
    chosen: str | None = None
    """The answer marked so far, where one is chosen from a list."""
    values: list[float | None] = field(default_factory=list)
    """The marks set so far, one a rated sound, where answers are set on a scale."""
    row: int = 0
    """Which rated sound the scale keys move."""
    typed: str = ""
    """Digits of a number for that sound, not taken yet."""
    order: list[int] = field(default_factory=list)
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

    def go_on_from(self, before: "Turn") -> None:
        """Another question about the sounds of the turn before: they were heard, and count as played.

        The time to answer runs from now.
        """
        self.begun, self.finished, self.heard = before.begun, before.finished, set(before.heard)
        self.onset_s = self.entered_s

    def restart(self) -> None:
        """Forget plays and answer; the trial did not count."""
        self.begun = self.finished = self.row = 0
        self.heard = set()
        self.values = [None] * len(self.values)
        self.order, self.part = [], (0.0, 1.0)
        self.began_s, self.waits_s, self.is_late = None, None, False
        self.typed, self.share = "", 0.0
        self.running, self.clip, self.onset_s, self.chosen = False, None, None, None
        self.voids += 1
