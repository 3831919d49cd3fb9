"""What of a long recording is held while its ringing is read."""

from listening.audio.sound import Sound

BEFORE_S = 0.5  # of the onset
LONGEST_SAMPLES = 3 * 2**20  # after the onset, 33 s at 96 kHz, 66 s at 48 kHz: bounds what the fits hold


def of(sound: Sound, onset_s: float) -> tuple[Sound, float]:
    """The recording from just before its onset to half a minute or more after, and its onset in that.

    A recording of one block is given back as it is.
    """
    if not sound.is_long:
        return sound, onset_s
    start = max(0, int((onset_s - BEFORE_S) * sound.rate_hz))
    stop = round(onset_s * sound.rate_hz) + LONGEST_SAMPLES
    return sound.between(start, stop), onset_s - start / sound.rate_hz
