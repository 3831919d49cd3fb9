"""The sound of a step: what plays, what was heard, and whether it sounded as asked."""

from dataclasses import dataclass, replace

from listening.errors import ListeningError
from listening.session.answering.turn import Turn
from listening.session.sounding.player import Player, Program, Sounding

WHOLE = (0.0, 1.0)  # of a loop


@dataclass(frozen=True)
class Heard:
    """What became of a turn."""

    turn: Turn
    trouble: str = ""
    """Why it did not sound as asked; empty: it did."""


class Hearing:
    """A player, and which of its sounds was heard last; a turn goes in, the turn that follows comes out."""

    def __init__(self, player: Player) -> None:
        self._player = player
        self.last = 0
        """Which sound of the program was heard last."""

    def prepare(self, program: Program) -> None:
        """A program that may be started soon."""
        self._player.prepare(program)

    def play(self, program: Program, turn: Turn) -> Heard:
        """Start a program."""
        self.last = program.start
        turn = replace(turn, begun=turn.begun + 1, running=True)
        try:
            self._player.start(program)
            if turn.part != WHOLE:
                self._player.part(*turn.part)
        except ListeningError as error:
            return Heard(replace(turn, running=False), str(error))
        return self.look(program, turn)

    def switch(self, sound: int) -> None:
        """Let another sound of a running program be heard."""
        self.last = sound
        self._player.switch(sound)

    def again(self) -> None:
        """Go back to the start of a loop."""
        self._player.again()

    def part(self, start: float, stop: float, turn: Turn) -> Turn:
        """Keep the loop to a part of it, for every play of the turn."""
        if turn.running:
            self._player.part(start, stop)
        return replace(turn, part=(start, stop))

    def gain(self, sound: int, gain_db: float) -> None:
        """Another gain for one sound of the program."""
        self._player.gain(sound, gain_db)

    def level_db(self, clip: str) -> float:
        """LAFmax of a clip, dB re full scale."""
        return self._player.level_db(clip)

    def exposure(self) -> float:
        """A-weighted exposure of everything sent so far, full scale² s."""
        return self._player.exposure()

    def stop(self, turn: Turn) -> Turn:
        """Fall silent."""
        if not turn.running:
            return turn
        self._player.stop()
        return replace(turn, running=False, clip=None)

    def look(self, program: Program, turn: Turn) -> Heard:
        """See how far the program is."""
        if not turn.running:
            return Heard(turn)
        sounding = self._player.sounding()
        turn = _seen(sounding, turn)
        if sounding.trouble:
            return Heard(self.stop(turn), sounding.trouble)
        if sounding.running:
            return Heard(turn)
        return self._ended(sounding, program, replace(turn, running=False, clip=None))

    def _ended(self, sounding: Sounding, program: Program, turn: Turn) -> Heard:
        missing = sounding.frames_asked - sounding.frames_played
        if missing:
            return Heard(turn, f"{missing} of {sounding.frames_asked} frames not played")
        every = not program.switching or sounding.heard_all
        heard = frozenset(range(len(program.clips))) if every else turn.heard | {self.last}
        return Heard(replace(turn, finished=turn.finished + 1, heard=heard))


def _seen(sounding: Sounding, turn: Turn) -> Turn:
    """What is heard now; the player knows the onset better as the first play goes on."""
    is_onset = turn.onset_s is None or (turn.begun == 1 and sounding.onset_s is not None)
    return replace(
        turn,
        onset_s=sounding.onset_s if is_onset else turn.onset_s,
        clip=sounding.clip,
        share=sounding.share,
        heard=turn.heard if sounding.clip is None else turn.heard | {sounding.clip},
    )
