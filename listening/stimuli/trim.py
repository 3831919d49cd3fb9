"""From a recording to the stretch that is heard: aligned on the strike, cut to one length, faded."""

from dataclasses import dataclass, replace

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.errors import SoundError
from listening.metrics.striking import onset, ringing_end


@dataclass(frozen=True)
class Window:
    """The common window of a set, in seconds."""

    before_onset_s: float
    length_s: float
    fade_in_s: float
    fade_out_s: float

    @property
    def fades_from_s(self) -> float:
        """Where the fade-out begins: from there on no decay is the sound's own."""
        return self.length_s - self.fade_out_s


def trimmed(sound: Sound, window: Window, *, onset_s: float | None = None) -> Sound:
    """The window around the loudest strike of a sound, faded at both ends, the strike itself untouched.

    `onset_s` is where the strike begins, where that is known: what was made from a strike keeps its instant.
    A recording that begins too late gets silence in front, and a shorter fade. One that ends before the
    window does, after its strike has died away, fades out over 50 ms and gets silence behind.

    Raises
    ------
    SoundError
        The recording ends before the window does and rings still, or holds nothing but zeros.
    """
    listened = sound.mono() if sound.n_channels > 1 else sound
    onset_sample = round((onset.find(listened).time_s if onset_s is None else onset_s) * sound.rate_hz)
    start = onset_sample - round(window.before_onset_s * sound.rate_hz)
    length = round(window.length_s * sound.rate_hz)
    missing = max(0, start + length - sound.n_samples)
    if missing and ringing_end.audible_until_s(listened, onset_sample / sound.rate_hz) is None:
        _refuse_short(sound, onset_sample, window)
    silence = max(0, -start)
    cut = np.zeros((length, sound.n_channels))
    cut[silence : length - missing] = sound.samples[max(0, start) : start + length]
    fade_in = min(round(window.fade_in_s * sound.rate_hz), min(onset_sample, onset_sample - start))
    cut[silence : silence + fade_in] *= rise(fade_in)[:, np.newaxis]
    fade_out = round(window.fade_out_s * sound.rate_hz)
    if missing:
        end = length - missing
        padded = min(round(ringing_end.PADDED_FADE_S * sound.rate_hz), end)
        cut[end - padded : end] *= rise(padded)[::-1, np.newaxis]
    if fade_out:
        cut[-fade_out:] *= rise(fade_out)[::-1, np.newaxis]
    return replace(sound, samples=cut)


def rise(n_samples: int) -> FloatArray:
    """(n,) raised cosine from just above 0 to just below 1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * (np.arange(n_samples) + 0.5) / max(n_samples, 1)))


def _refuse_short(sound: Sound, onset_sample: int, window: Window) -> None:
    after_s = (sound.n_samples - onset_sample) / sound.rate_hz
    wanted_s = window.length_s - window.before_onset_s
    longest_s = np.floor((after_s + window.before_onset_s) * 1000) / 1000
    raise SoundError(
        f"{sound.name}: {after_s:.3f} s from the strike to the end, {wanted_s:.3f} s wanted; "
        f"set trimming.length_s to {longest_s:.3f} or less for the set, or record longer"
    )
