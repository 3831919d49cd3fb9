"""The sound of a step: what plays, what was heard, and whether it sounded as asked."""

from listening.errors import ListeningError
from listening.session.player import Player, Program, Sounding
from listening.session.turn import Turn

WHOLE = (0.0, 1.0)  # of a loop


class Hearing:
    """A player and the turn that keeps count of it."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self._sound = 0
        self.turn = Turn()

    def begin(self, turn: Turn) -> None:
        """A new step with its own count."""
        self.stop()
        self.turn = turn

    def play(self, program: Program) -> str:
        """Start a program; why it cannot sound, or nothing."""
        self._sound = program.start
        self.turn.begun += 1
        self.turn.running = True
        try:
            self._player.start(program)
            if self.turn.part != WHOLE:
                self._player.part(*self.turn.part)
        except ListeningError as error:
            self.turn.running = False
            return str(error)
        return self.look(program)

    def switch(self, sound: int) -> None:
        """Let another sound of a running program be heard."""
        self._sound = sound
        self._player.switch(sound)

    def again(self) -> None:
        """Go back to the start of a loop."""
        self._player.again()

    def part(self, start: float, stop: float) -> None:
        """Keep the loop to a part of it, for every play of the turn."""
        self.turn.part = (start, stop)
        if self.turn.running:
            self._player.part(start, stop)

    @property
    def last(self) -> int:
        """Which sound of the program was heard last."""
        return self._sound

    def gain(self, sound: int, gain_db: float) -> None:
        """Another gain for one sound of the program."""
        self._player.gain(sound, gain_db)

    def level_db(self, clip: str) -> float:
        """LAFmax of a clip, dB re full scale."""
        return self._player.level_db(clip)

    def exposure(self) -> float:
        """A-weighted exposure of everything sent so far, full scale² s."""
        return self._player.exposure()

    def stop(self) -> None:
        """Fall silent."""
        if self.turn.running:
            self._player.stop()
            self.turn.running, self.turn.clip = False, None

    def look(self, program: Program) -> str:
        """See how far the program is; why it did not sound as asked, or nothing."""
        if not self.turn.running:
            return ""
        sounding = self._player.sounding()
        turn = self.turn
        if turn.onset_s is None or (turn.begun == 1 and sounding.onset_s is not None):
            turn.onset_s = sounding.onset_s  # the player knows it better as the first play goes on
        turn.clip, turn.share = sounding.clip, sounding.share
        if sounding.clip is not None:
            turn.heard.add(sounding.clip)
        if sounding.trouble:
            self.stop()
            return sounding.trouble
        if sounding.running:
            return ""
        turn.running, turn.clip = False, None
        return self._ended(sounding, program)

    def _ended(self, sounding: Sounding, program: Program) -> str:
        missing = sounding.frames_asked - sounding.frames_played
        if missing:
            return f"{missing} of {sounding.frames_asked} frames not played"
        self.turn.finished += 1
        self.turn.heard.add(self._sound)
        if not program.switching or sounding.heard_all:
            self.turn.heard = set(range(len(program.clips)))
        return ""
