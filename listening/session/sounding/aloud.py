"""The player that is heard: coded clips through the speaker, no louder than the station allows, counted."""

import threading
from contextlib import suppress

from listening.audio.mixer import InTurn, Samples, Switched
from listening.audio.speaker import Speaker
from listening.errors import ListeningError, SoundError
from listening.records.sounds.level import Level
from listening.session.sounding.clip_reading import Clips
from listening.session.sounding.player import Program, Sounding


class Aloud:
    """Plays programs of coded clips; raises what the speaker raises.

    With a calibration, a clip above the station's ceiling at the ear never starts; without one the only
    ceiling is full scale.
    """

    def __init__(self, clips: Clips, speaker: Speaker, level: Level | None = None) -> None:
        self._clips = clips
        self._speaker = speaker
        self._level = level
        self._program = Program(())
        self._switched: Switched | None = None
        self._sent = 0.0
        self._counted = True

    def prepare(self, program: Program) -> None:
        """Read the clips of a program and what the ceilings ask of them, in the background."""
        threading.Thread(target=self._read, args=(program.clips,), daemon=True).start()

    def _read(self, clips: tuple[str, ...]) -> None:
        with suppress(ListeningError):  # told when it is to sound
            for clip in clips:
                self._clips.peak_of(clip)
                if self._level is not None:
                    self._clips.laf_max_db_of(clip)
        self._speaker.keep_awake()

    def start(self, program: Program) -> None:
        """Begin a program."""
        self.stop()
        self._program = program
        sounds = [self._clips.samples(clip) for clip in program.clips]
        gains_db = program.gains_db or (0.0,) * len(sounds)
        for clip, gain_db in zip(program.clips, gains_db, strict=True):
            self._check_level(clip, gain_db)
        peak = max(self._peak(clip, gain_db) for clip, gain_db in zip(program.clips, gains_db, strict=True))
        if program.switching:
            self._start_switching(program, sounds, peak)
        else:
            self._switched = None
            gap = round(program.gap_s * self._speaker.rate_hz)
            self._speaker.start(
                InTurn(sounds, gap_frames=gap, lead_in_frames=self._lead_in(program)), peak=peak
            )
        self._counted = False

    def switch(self, sound: int) -> None:
        """Let another clip of a switching program sound."""
        if self._switched is not None:
            self._switched.switch(sound)

    def again(self) -> None:
        """Go back to the start of a loop."""
        if self._switched is not None:
            self._switched.again()

    def part(self, start: float, stop: float) -> None:
        """Keep a loop to what lies between two shares of it."""
        if self._switched is not None:
            self._switched.part(start, stop)

    def gain(self, sound: int, gain_db: float) -> None:
        """Another gain for one clip of a switching program; the ceilings hold for it too."""
        if not self._program.clips:
            return
        clip = self._program.clips[sound]
        self._check_level(clip, gain_db)
        self._speaker.check_ceiling(self._peak(clip, gain_db))
        if self._switched is not None:
            self._switched.gain(sound, gain_db)

    def stop(self) -> None:
        """Fall silent."""
        self._count()
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
            share=played.share,
        )

    def level_db(self, clip: str) -> float:
        """LAFmax of a clip, dB re full scale."""
        return self._clips.laf_max_db_of(clip)

    def exposure(self) -> float:
        """A-weighted exposure of all that was sent, full scale² s; replays and broken-off plays count."""
        if not self._counted and not self.sounding().running:
            self._count()
        return self._sent

    def _count(self) -> None:
        """Add what the last program sent, once."""
        if self._counted:
            return
        self._counted = True
        exposures = [self._clips.exposure_of(clip) for clip in self._program.clips]
        if self._switched is not None:
            frames = [self._clips.frames(clip) for clip in self._program.clips]
            shares = [e / f for e, f in zip(self._switched.energy_frames, frames, strict=True)]
            self._sent += sum(e * share for e, share in zip(exposures, shares, strict=True))
            return
        played = self._speaker.played()
        self._sent += sum(exposures) * played.frames_played / max(played.frames_asked, 1)

    def _peak(self, clip: str, gain_db: float) -> float:
        return self._clips.peak_of(clip) * 10 ** (gain_db / 20)

    def _check_level(self, clip: str, gain_db: float) -> None:
        if self._level is None:
            return
        at_ear_db = self._level.at_ear_db(self._clips.laf_max_db_of(clip) + gain_db)
        if at_ear_db > self._level.ceiling_db:
            raise SoundError(
                f"clip {clip}: {at_ear_db:.1f} dB LAFmax at the ear, the ceiling of this station is "
                f"{self._level.ceiling_db:.1f} dB: nothing was played; turn the amplifier down "
                "and calibrate again"
            )

    def _start_switching(self, program: Program, sounds: list[Samples], peak: float) -> None:
        self._switched = Switched(
            sounds,
            rate_hz=self._speaker.rate_hz,
            loops=program.loops,
            start=program.start,
            gains_db=program.gains_db,
            lead_in_frames=self._lead_in(program),
        )
        self._speaker.start(self._switched, loops=program.loops, peak=peak)

    def _lead_in(self, program: Program) -> int:
        return round(max(self._speaker.lead_in_s, program.lead_in_s) * self._speaker.rate_hz)
