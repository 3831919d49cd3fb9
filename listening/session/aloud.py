"""The player that is heard: coded clips through the speaker."""

from listening.audio.mixer import InTurn
from listening.audio.speaker import LEAD_IN_S, Speaker
from listening.session.clips import Clips
from listening.session.player import Program, Sounding


class Aloud:
    """Plays programs of coded clips; raises what the speaker raises."""

    def __init__(self, clips: Clips, speaker: Speaker) -> None:
        self._clips = clips
        self._speaker = speaker

    def start(self, program: Program) -> None:
        """Begin a program."""
        sounds = [self._clips.samples(clip) for clip in program.clips]
        rate_hz = self._speaker.rate_hz
        mixer = InTurn(
            sounds, gap_frames=round(program.gap_s * rate_hz), lead_in_frames=round(LEAD_IN_S * rate_hz)
        )
        self._speaker.start(mixer, peak=max(float(abs(sound).max()) for sound in sounds))

    def stop(self) -> None:
        """Fall silent."""
        self._speaker.stop()

    def sounding(self) -> Sounding:
        """How far the program is."""
        played = self._speaker.played()
        return Sounding(
            played.running,
            played.clip,
            played.frames_asked,
            played.frames_played,
            played.onset_s,
            played.trouble,
        )
