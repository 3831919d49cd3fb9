"""The coded clips of a station: checked against the plan, loaded when they are to sound."""

import hashlib
import threading
from functools import lru_cache
from importlib import import_module
from pathlib import Path

from listening.audio import wav
from listening.audio.mixer import Samples
from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.records.dealt.plan import Plan
from listening.session.sounding import tones

KEPT = 12  # clips in memory: a trial's own and a few before it, so that memory stays steady
NAMED = 5  # so many bad clips are named


class Clips:
    """The folder of clips."""

    def __init__(self, folder: Path, rate_hz: int) -> None:
        self._folder = folder
        self._rate_hz = rate_hz
        self.samples = lru_cache(KEPT)(self._load)
        self.peak_of = lru_cache(None)(self.peak)
        self.exposure_of = lru_cache(None)(self.exposure)
        self.laf_max_db_of = lru_cache(None)(self.laf_max_db)

    def peak(self, clip: str) -> float:
        """Largest sample of a clip, full scale 1."""
        return float(abs(self.samples(clip)).max())

    def exposure(self, clip: str) -> float:
        """A-weighted exposure of a clip, full scale² s, of its stronger channel."""
        from listening.metrics import level

        return float(level.a_weighted_exposure(self._sound(clip)).max())

    def laf_max_db(self, clip: str) -> float:
        """Largest A-weighted level F of a clip, dB re full scale, of its stronger channel."""
        from listening.metrics import level

        sound = self._sound(clip)
        channels = [sound.channel(c) for c in range(sound.n_channels)]
        sounding = [channel for channel in channels if channel.samples.any()] or channels
        return max(level.laf_max_db(channel) for channel in sounding)

    def frames(self, clip: str) -> int:
        """How many frames a clip has."""
        return len(self.samples(clip))

    def _load(self, clip: str) -> Samples:
        """(frames, channels), full scale 1."""
        return self._sound(clip).samples.astype("float32")

    def _sound(self, clip: str) -> Sound:
        if clip.startswith(tones.TONE):
            return tones.sound(clip, self._rate_hz)
        sound = wav.load(self._folder / f"{clip}.wav")
        if sound.rate_hz != self._rate_hz:
            raise StudyError(
                f"clip {clip}: {sound.rate_hz} Hz, the plan says {self._rate_hz} Hz; deal the study again"
            )
        return sound


def check(plan: Plan, folder: Path) -> None:
    """Every clip of the plan is there, byte for byte as dealt.

    Raises
    ------
    StudyError
        Some are not; the first few are named by their codes.
    """
    bad = [f"{c.clip} ({fault})" for c in plan.clips if (fault := _fault(folder / f"{c.clip}.wav", c.digest))]
    if bad:
        more = f" and {len(bad) - NAMED} more" if len(bad) > NAMED else ""
        raise StudyError(
            f"{folder}: {len(bad)} of {len(plan.clips)} clips are not as dealt: "
            f"{', '.join(bad[:NAMED])}{more}; copy the station folder again, whole"
        )


def _fault(path: Path, digest: str) -> str:
    try:
        found = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError as error:
        return error.strerror or "cannot be read"
    return "" if found == digest else "altered"


def warm_up() -> None:
    """Load what weighs sounds, in the background: the first screen does not wait for it."""
    threading.Thread(target=import_module, args=("listening.metrics.level",), daemon=True).start()
