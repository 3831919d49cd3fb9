"""What happens with the sound of one step: plays begun and finished, the answer marked so far."""

from dataclasses import dataclass


@dataclass
class Turn:
    """The passing state of one step; a new step begins a new one."""

    begun: int = 0
    """Plays started."""
    finished: int = 0
    """Plays heard to the end."""
    running: bool = False
    clip: int | None = None
    """Which clip sounds now."""
    heard: int = 0
    """How many of the clips have begun to sound at least once."""
    onset_s: float | None = None
    """First sound of the first play."""
    chosen: str | None = None
    chosen_s: float = 0.0
    voids: int = 0
    entered_s: float = 0.0

    def restart(self) -> None:
        """Forget plays and answer; the trial did not count."""
        self.begun = self.finished = self.heard = 0
        self.running, self.clip, self.onset_s, self.chosen = False, None, None, None
        self.voids += 1
