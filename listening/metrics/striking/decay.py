"""How a strike dies away: EDT, T20, T30 by backward integration, and the study's decay from loudness."""

from dataclasses import dataclass

import numpy as np

from listening.audio.sound import FloatArray, Sound
from listening.metrics import bands
from listening.metrics.loud.loudness import Course
from listening.metrics.striking import onset, ringing_part

FRAME_S = 0.01
TAIL_SHARE = 0.1  # of the recording, first guess of the noise
KNEE_MARGIN_DB = 8.0  # the slope is read down to this above the noise
NOISE_DISTANCE_DB = 10.0  # ISO 3382-2:2008, 5.4.4: noise at least this below the end of the range
RANGES_DB = {"edt": (0.0, 10.0), "t20": (5.0, 25.0), "t30": (5.0, 35.0)}
MOST_NONLINEAR_PERMILLE, MOST_CURVED_PERCENT = 10.0, 10.0  # beyond, a decay is far from straight
STUDY_SHARE = 0.1  # the study's decay ends at this share of the largest loudness


@dataclass(frozen=True)
class Decays:
    """Times for 60 dB, extrapolated from the range each is named after; None where noise hides its end."""

    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    usable_range_db: float
    """from the peak of the backward integral to the noise; inf when no noise floor was seen"""
    t20_nonlinearity_permille: float | None = None
    """1000 (1 - r²) of the straight line that T20 is read from"""
    t30_nonlinearity_permille: float | None = None

    @property
    def curvature_percent(self) -> float | None:
        """T30 over T20 less one: a decay of two slopes, as coupled modes have. ISO 3382-2:2008, B.3."""
        if self.t20_s is None or self.t30_s is None:
            return None
        return 100.0 * (self.t30_s / self.t20_s - 1.0)

    @property
    def is_curved(self) -> bool:
        """Whether the curve is far from one straight line. Limits: ISO 3382-2:2008, annex B (from memory)."""
        bent = [x for x in (self.t20_nonlinearity_permille, self.t30_nonlinearity_permille) if x is not None]
        curvature = self.curvature_percent
        return any(x > MOST_NONLINEAR_PERMILLE for x in bent) or (
            curvature is not None and abs(curvature) > MOST_CURVED_PERCENT
        )


@dataclass(frozen=True, eq=False)
class Curve:
    """Backward-integrated energy with the noise taken out."""

    time_s: FloatArray
    """(k,) from the onset"""
    level_db: FloatArray
    """(k,) re the start, falling from 0"""
    usable_range_db: float


def measure(sound: Sound, onset_s: float | None = None) -> Decays:
    """EDT, T20, T30 of a one-channel sound, all frequencies together.

    Raises
    ------
    SoundError
        Several channels or silence.

    Source: ISO 3382-2:2008, 5.3.3; noise: Lundeby et al. 1995, Acustica 81.
    """
    start_s = onset.find(sound).time_s if onset_s is None else onset_s
    sound, start_s = ringing_part.of(sound, start_s)
    samples = sound.only_channel()[round(start_s * sound.rate_hz) :]
    return _read(curve(samples - samples.mean(), sound.rate_hz))


def by_band(sound: Sound, onset_s: float, *, per_octave: int = 3) -> dict[float, Decays]:
    """The same for each band, keyed by midband frequency in Hz."""
    found = {}
    sound, onset_s = ringing_part.of(sound, onset_s)
    for middle in bands.midbands_hz(sound.rate_hz, per_octave=per_octave):
        # backwards through the filter: its own ringing then lies before the onset
        reverse = bands.filtered(sound.only_channel()[::-1], sound.rate_hz, middle, per_octave=per_octave)
        found[float(middle)] = _read(curve(reverse[::-1][round(onset_s * sound.rate_hz) :], sound.rate_hz))
    return found


def curve(samples: FloatArray, rate_hz: int) -> Curve:
    """Backward integral of the energy of (n,) samples that start at the onset, sampled every 1 ms."""
    squared = samples**2
    frame = max(1, round(FRAME_S * rate_hz))
    power = onset.envelope(samples, frame) ** 2
    noise, knee, late_rate = _noise_and_knee(power)
    end = max(2, min(len(squared), knee * frame))
    step = max(1, rate_hz // 1000)
    missing = _missing_energy(power, noise, knee, late_rate) * frame
    starts = np.arange(0, end, step)
    over_noise = np.add.reduceat(squared[:end], starts) - noise * np.diff([*starts, end])
    energy = np.cumsum(over_noise[::-1])[::-1] + missing
    positive = energy > 0
    last = int(np.argmin(positive)) if not positive.all() else len(energy)
    energy = energy[: max(last, 1)] if energy[0] > 0 else np.array([1.0])
    start = float(power[: max(1, knee)].max(initial=0.0))
    usable = 10 * np.log10(start / noise) if noise > 0 < start else np.inf
    return Curve(np.arange(len(energy)) * step / rate_hz, 10 * np.log10(energy / energy[0]), float(usable))


def study_decay_s(course: Course, *, until_s: float | None = None) -> float | None:
    """Time for N(t) to fall from its maximum to a tenth; None when the recording, or `until_s`, comes before.

    The first time is taken, between the 2 ms values by a straight line. `until_s` is where a fade begins:
    what falls from there on is the fade.
    """
    loudness, top = course.loudness_sone, int(np.argmax(course.loudness_sone))
    wanted = STUDY_SHARE * loudness[top]
    below = np.flatnonzero(loudness[top:] <= wanted)
    if not len(below) or loudness[top] <= 0:
        return None
    after = top + int(below[0])
    share = (loudness[after - 1] - wanted) / (loudness[after - 1] - loudness[after])
    step_s = course.time_s[1] - course.time_s[0]
    if until_s is not None and (after - 1 + share) * step_s > until_s:
        return None
    return float((after - 1 + share - top) * step_s)


def _noise_and_knee(power: FloatArray) -> tuple[float, int, float]:
    """Noise power, frame where the decay meets it, and the decay rate before it (neper of power a frame)."""
    n = len(power)
    noise, knee, rate = float(power[-max(1, round(TAIL_SHARE * n)) :].mean()), n, 0.0
    if n < 10 or noise == 0.0:
        occupied = np.flatnonzero(power)
        knee = int(occupied[-1]) + 1 if len(occupied) else n
        return 0.0, knee, _late_rate(power, knee)
    for _ in range(6):
        stop = _first_below(power, noise * 10 ** (KNEE_MARGIN_DB / 10))
        rate, crossing = _line_meets(power, stop, noise)
        if crossing is None or crossing > 0.97 * n or _still_falls(power, rate):
            return 0.0, n, _late_rate(power, n)
        knee = max(crossing, 2)
        tail = power[min(round(1.1 * knee) + 2, n - max(1, round(TAIL_SHARE * n))) :]
        noise = float(tail.mean())
    return noise, knee, rate


def _still_falls(power: FloatArray, rate: float) -> bool:
    """Whether the end of the recording goes down as the decay does: then it is no noise floor."""
    tail = power[-max(5, round(TAIL_SHARE * len(power))) :]
    if not (tail > 0).all():
        return False
    tail_rate = -np.polyfit(np.arange(len(tail)), np.log(tail), 1)[0]
    return bool(tail_rate > 0.85 * rate and tail_rate * len(tail) > 0.3)


def _first_below(power: FloatArray, limit: float) -> int:
    smooth = np.convolve(power, np.ones(3) / 3, mode="same")
    top = int(np.argmax(smooth))
    below = np.flatnonzero(smooth[top:] < limit)
    return top + int(below[0]) if len(below) else len(power)


def _line_meets(power: FloatArray, stop: int, noise: float) -> tuple[float, int | None]:
    rate = _late_rate(power, stop)
    if rate <= 0:
        return rate, None
    first = max(int(np.argmax(power)), stop - _late_length(power, stop))
    inside = np.arange(first, max(stop, first + 2))
    inside = inside[inside < len(power)]
    level = np.mean(np.log(np.maximum(power[inside], 1e-300)))
    return rate, round(float(inside.mean() + (level - np.log(noise)) / rate))


def _late_length(power: FloatArray, stop: int) -> int:
    """Frames of the last 20 dB before `stop`, at least 5."""
    top = int(np.argmax(power[:stop])) if stop > 0 else 0
    reached = power[top:stop] < 100.0 * max(float(np.median(power[max(0, stop - 3) : stop])), 1e-300)
    length = stop - top - int(np.argmax(reached)) if reached.any() else stop - top
    return max(5, length)


def _late_rate(power: FloatArray, stop: int) -> float:
    first = max(int(np.argmax(power)), stop - _late_length(power, stop))
    piece = power[first:stop]
    if len(piece) < 3 or not (piece > 0).any():
        return 0.0
    index = np.flatnonzero(piece > 0)
    return float(-np.polyfit(index, np.log(piece[index]), 1)[0]) if len(index) > 2 else 0.0


def _missing_energy(power: FloatArray, noise: float, knee: int, rate: float) -> float:
    """Energy, in frames, of the exponential that goes on behind the knee."""
    if rate <= 0 or knee < 3:
        return 0.0
    last = power[max(0, knee - 10) : knee]
    if noise > 0:
        return noise / rate  # at the knee the line has the noise's power
    if knee < len(power):
        return 0.0  # digital silence follows: nothing is missing
    centre = (len(last) + 1) / 2
    return float(np.exp(np.mean(np.log(np.maximum(last, 1e-300))) - rate * (centre - 0.5)) / rate)


def _read(curve_: Curve) -> Decays:
    lines = {name: _line(curve_, *limits) for name, limits in RANGES_DB.items()}
    times = {name: line[0] if line else None for name, line in lines.items()}
    bent = {name: line[1] if line else None for name, line in lines.items()}
    usable_db = curve_.usable_range_db
    return Decays(times["edt"], times["t20"], times["t30"], usable_db, bent["t20"], bent["t30"])


def time_for_60_db(curve_: Curve, top_db: float, bottom_db: float) -> float | None:
    """60 dB by the straight line from `top_db` to `bottom_db` below the start; None where noise hides it."""
    line = _line(curve_, top_db, bottom_db)
    return None if line is None else line[0]


def _line(curve_: Curve, top_db: float, bottom_db: float) -> tuple[float, float] | None:
    """Time for 60 dB of the straight line through that range, and 1000 (1 - r²)."""
    if curve_.usable_range_db < bottom_db + NOISE_DISTANCE_DB or curve_.level_db[-1] > -bottom_db:
        return None
    inside = (curve_.level_db <= -top_db) & (curve_.level_db >= -bottom_db)
    if inside.sum() < 3:
        return None
    time_s, level_db = curve_.time_s[inside], curve_.level_db[inside]
    line = np.polyfit(time_s, level_db, 1)
    if line[0] >= 0:
        return None
    left = float(((level_db - np.polyval(line, time_s)) ** 2).sum())
    total = float(((level_db - level_db.mean()) ** 2).sum())
    return float(-60.0 / line[0]), 1000.0 * left / total
