"""Whether a sound is one strike that rings out, and how it begins."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics import level
from listening.metrics.striking import onset

if TYPE_CHECKING:  # which loads numba
    from listening.metrics.ringing.partials import Partial

FRAME_S = 0.001
QUICK_RISE_S = 0.1  # from -20 dB to the loudest moment; a strike is quicker
SLOW_FALL_S = 0.01  # from -5 to -25 dB; a tone that is switched off is quicker
CONTACT_S = 0.05  # strike noise is looked for in this time
RISE_SHARES = (0.1, 0.9)
ATTACK_DB = (-20.0, -3.0)  # re the loudest 10 ms
STEADY_FRAMES = 10  # over which it is taken: of dense partials single milliseconds beat above all others


@dataclass(frozen=True)
class Attack:
    """The first instants of a strike."""

    rise_s: float
    """from 10 % to 90 % of the largest 1 ms rms pressure"""
    attack_s: float
    """from 20 dB below the loudest 10 ms until first within 3 dB of it, after a high-pass of 50 Hz"""
    strike_noise_db: float | None
    """energy that no partial explains over that of the partials, first 50 ms; None without partials"""


def rings_out(sound: Sound, onset_s: float) -> bool:
    """Whether the sound rises at once and then dies away gradually, as a struck thing does.

    For such a sound every mean over time and every percentile depends on how long the recording runs.
    """
    level_db = _envelope_db(sound)
    top = round(onset_s / FRAME_S) + int(np.argmax(level_db[round(onset_s / FRAME_S) :]))
    before = np.flatnonzero(level_db[:top] < -20.0)
    low = np.flatnonzero(level_db[top:] < -25.0)
    rise = top - int(before[-1]) if len(before) else top
    if rise * FRAME_S > QUICK_RISE_S or not len(low):
        return False
    end = top + int(low[0])
    strong = np.flatnonzero(level_db[top : end + 1] >= -5.0)
    if not len(strong):  # stronger before the strike than in it
        return False
    start = top + int(strong[-1])
    return bool((end - start) * FRAME_S > SLOW_FALL_S)


def attack(sound: Sound, onset_s: float, partials: tuple["Partial", ...]) -> Attack:
    """Rise time and strike noise of a one-channel sound."""
    frame = max(1, round(FRAME_S * sound.rate_hz))
    start = max(0, round((onset_s - 0.002) * sound.rate_hz))
    n_frames = max(1, round(QUICK_RISE_S / FRAME_S))
    rms = onset.envelope(sound.pressure_between(start, start + n_frames * frame), frame)
    top = int(np.argmax(rms))
    low, high = (_crossing(rms[: top + 1], share * rms[top]) for share in RISE_SHARES)
    return Attack(
        rise_s=(high - low) * frame / sound.rate_hz,
        attack_s=_attack_s(sound, onset_s),
        strike_noise_db=_noise_db(sound, onset_s, partials),
    )


def _attack_s(sound: Sound, onset_s: float) -> float:
    """Common practice, no source: what is louder than -20 dB is attack, what is above -3 dB has arrived."""
    frame = max(1, round(FRAME_S * sound.rate_hz))
    start = max(0, round((onset_s - QUICK_RISE_S) * sound.rate_hz))
    n_frames = max(1, round(2 * QUICK_RISE_S / FRAME_S))
    rms = onset.envelope(onset.without_rumble(sound, start, start + n_frames * frame), frame)
    width = min(STEADY_FRAMES, len(rms))
    top = float(np.sqrt(np.convolve(rms**2, np.ones(width) / width, mode="valid").max()))
    low, high = (10.0 ** (db / 20.0) * top for db in ATTACK_DB)
    there = int(np.argmax(rms >= high))
    last_below = [_crossing(rms[: there + 1], wanted) for wanted in (low, high)]
    return float((last_below[1] - last_below[0]) * frame / sound.rate_hz)


def above_level_s(sound: Sound, level_db: float) -> float | None:
    """How long LAF is above a level, from first to last; None when it still is at the end, or never was."""
    place, first, last = 0, -1, -1
    for block in level.course_blocks_db(sound):
        above = np.flatnonzero(block > level_db)
        if len(above):
            first = place + int(above[0]) if first < 0 else first
            last = place + int(above[-1])
        place += len(block)
    return None if first < 0 or last == place - 1 else float((last - first + 1) / sound.rate_hz)


def ringing(partials: tuple["Partial", ...], time_s: FloatArray, reference: float) -> FloatArray:
    """(n,) pressure of the partials alone; time counts from the onset."""
    total = np.zeros(len(time_s))
    for p in partials:
        peak = np.sqrt(2.0) * reference * 10.0 ** (p.level_db / 20.0)
        decay = np.exp(-np.log(1000.0) * time_s / p.t60_s)
        total += peak * decay * np.cos(2 * np.pi * p.frequency_hz * time_s + p.phase_rad)
    return total


def _noise_db(sound: Sound, onset_s: float, partials: tuple["Partial", ...]) -> float | None:
    if not partials:
        return None
    start = round(onset_s * sound.rate_hz)
    first = sound.pressure_between(start, start + round(CONTACT_S * sound.rate_hz))
    modelled = ringing(partials, np.arange(len(first)) / sound.rate_hz, sound.reference)
    left = float(((first - modelled) ** 2).sum())
    return float(10 * np.log10(max(left, 1e-300) / float((modelled**2).sum())))


def _envelope_db(sound: Sound) -> FloatArray:
    rms = onset.frames(sound.pressure_blocks(), max(1, round(FRAME_S * sound.rate_hz)))
    return np.asarray(20 * np.log10(np.maximum(rms, 1e-300) / rms.max()))


def _crossing(rising: FloatArray, wanted: float) -> float:
    """Fractional index at which the values last rise through `wanted`."""
    below = np.flatnonzero(rising < wanted)
    if not len(below):
        return 0.0
    i = int(below[-1])
    if i + 1 >= len(rising):
        return float(i)
    return float(i + (wanted - rising[i]) / (rising[i + 1] - rising[i]))
