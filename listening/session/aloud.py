"""The player that is heard: coded clips through the speaker."""

from listening.audio.mixer import InTurn, Samples, Switched
from listening.audio.speaker import LEAD_IN_S, Speaker
from listening.session.clips import Clips
from listening.session.player import Program, Sounding


class Aloud:
    """Plays programs of coded clips; raises what the speaker raises."""

    def __init__(self, clips: Clips, speaker: Speaker) -> None:
        self._clips = clips
        self._speaker = speaker
        self._switched: Switched | None = None
        self._peaks: list[float] = []

    def start(self, program: Program) -> None:
        """Begin a program."""
        sounds = [self._clips.samples(clip) for clip in program.clips]
        self._peaks = [float(abs(sound).max()) for sound in sounds]
        gains_db = program.gains_db or (0.0,) * len(sounds)
        peak = max(p * 10 ** (g / 20) for p, g in zip(self._peaks, gains_db, strict=True))
        if program.switching:
            self._start_switching(program, sounds, peak)
        else:
            self._switched = None
            gap = round(program.gap_s * self._speaker.rate_hz)
            self._speaker.start(InTurn(sounds, gap_frames=gap, lead_in_frames=self._lead_in()), peak=peak)

    def switch(self, sound: int) -> None:
        """Let another clip of a switching program sound."""
        if self._switched is not None:
            self._switched.switch(sound)

    def gain(self, sound: int, gain_db: float) -> None:
        """Another gain for one clip of a switching program; the ceiling holds for it too."""
        self._speaker.check_ceiling(self._peaks[sound] * 10 ** (gain_db / 20) if self._peaks else 0.0)
        if self._switched is not None:
            self._switched.gain(sound, gain_db)

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

    def _start_switching(self, program: Program, sounds: list[Samples], peak: float) -> None:
        self._switched = Switched(
            sounds,
            rate_hz=self._speaker.rate_hz,
            loops=program.loops,
            start=program.start,
            gains_db=program.gains_db,
            lead_in_frames=self._lead_in(),
        )
        self._speaker.start(self._switched, loops=program.loops, peak=peak)

    def _lead_in(self) -> int:
        return round(LEAD_IN_S * self._speaker.rate_hz)
