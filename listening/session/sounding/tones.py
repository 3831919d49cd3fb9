"""Pure tones of the hearing check under names of their own, played as clips are: same ceilings, same dose."""

from listening.audio import signals
from listening.audio.sound import Sound

TONE = "tone "
LENGTH_S = 1.0


def name(frequency_hz: float, level_db: float, ear: str) -> str:
    """What a tone of that frequency and level (dB re full scale, RMS over 1) in one ear is called."""
    return f"{TONE}{frequency_hz:g} {level_db:g} {ear}"


def sound(called: str, rate_hz: int) -> Sound:
    """The tone of that name; the other ear is silent."""
    frequency_hz, level_db, ear = called.removeprefix(TONE).split(" ")
    samples = signals.sine(
        float(frequency_hz), rate_hz=rate_hz, length_s=LENGTH_S, level_db=float(level_db), side=ear
    )
    return Sound(samples.astype("float64"), rate_hz)
