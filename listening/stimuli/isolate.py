"""Stimuli in which brightness, decay or both move, and everything else of the strike stays."""

from collections.abc import Callable
from dataclasses import asdict, dataclass, replace

import numpy as np

from listening.audio.sound import Sound
from listening.errors import StudyError
from listening.metrics import measures
from listening.records.protocols.isolation import BRIGHTNESS, DECAY, LEVEL, Isolation
from listening.records.sounds.manifest import Isolated
from listening.stimuli import held_strike, match, modal, moved_partials, reshape
from listening.stimuli.held_strike import Heard
from listening.stimuli.modal import Split
from listening.stimuli.reshape import UNCHANGED, Damping
from listening.stimuli.stimulus_file import Metrics
from listening.stimuli.trim import Window, trimmed

FINENESS = 0.002  # a brightness asked for is reached to this share
STEEPEST_DB_PER_OCTAVE = 12.0
MOST_STEPS = 12


@dataclass(frozen=True)
class Asked:
    """What the variants of one strike have to become."""

    isolation: Isolation
    end_line: tuple[float, float] | None
    """Log damping at 1 kHz and its slope of the condition moved toward; None: every partial by the ratio."""
    brightness_ratio: float | None
    decay_ratio: float | None
    """T60 of the other end over the base's; with `end_line` only its side of 1 counts."""
    brightness_key: str
    decay_key: str
    metric: str
    target: float
    tolerance_db: float
    window: Window


@dataclass(frozen=True)
class Variant:
    """One sound made from a strike."""

    condition: str
    sound: Sound
    """Trimmed, before its gain."""
    gain_db: float
    """That brings it to the target, and a loud one above it."""
    before: Metrics
    isolated: Isolated


@dataclass(frozen=True)
class _Heard:
    """A candidate at the matched level."""

    tilt: float
    damping: Damping
    sound: Sound
    gain_db: float
    brightness: float | None
    decay: float | None


def variants(strike: Sound, asked: Asked) -> list[Variant]:
    """Every combination that the protocol asks of one strike, each verified.

    Parameters
    ----------
    strike : a one-channel recording, not trimmed, at the set's calibration

    Raises
    ------
    SoundError
        The recording does not suit being taken apart.
    StudyError
        A combination misses what it should reach, or moves what should stay: with the numbers.
    """
    split = _taken_apart(strike, asked)
    cells = _cells(split, asked)
    base = cells[False, False]
    made = []
    for (brightness_moved, decay_moved), cell in cells.items():
        report = _report(split, cell, base, asked.isolation)
        sides = _sides(asked, brightness_moved, decay_moved)
        before = measures.measure(cell.sound, fades_from_s=asked.window.fades_from_s).as_dict()
        made.append(Variant("/".join(sides), cell.sound, cell.gain_db, before, report))
    return [loud for variant in made for loud in _levels(variant, asked)]


def _taken_apart(strike: Sound, asked: Asked) -> Split:
    """The strike and its partials; too dense ones as one ringing, where brightness alone moves."""
    try:
        return modal.split(strike)
    except modal.TooDense:
        if asked.decay_ratio is not None:
            raise
        return modal.as_one(strike)


def _levels(variant: Variant, asked: Asked) -> list[Variant]:
    level_db = asked.isolation.level_db
    if not level_db:
        return [variant]
    names = [f"{variant.condition}/{level}".lstrip("/") for level in LEVEL]
    gains = (variant.gain_db, variant.gain_db + level_db)
    return [replace(variant, condition=c, gain_db=g) for c, g in zip(names, gains, strict=True)]


def _sides(asked: Asked, brightness_moved: bool, decay_moved: bool) -> list[str]:
    sides = []
    if asked.brightness_ratio is not None:
        sides.append(BRIGHTNESS[brightness_moved == (asked.brightness_ratio > 1)])
    if asked.decay_ratio is not None:
        sides.append(DECAY[decay_moved == (asked.decay_ratio > 1)])
    return sides


def _cells(split: Split, asked: Asked) -> dict[tuple[bool, bool], _Heard]:
    """The combinations by (brightness moved, decay moved)."""
    hear = _hearer(split, asked)
    base = hear(0.0, UNCHANGED)
    cells = {(False, False): base}
    if asked.brightness_ratio is not None:
        wanted = _times(base.brightness, asked.brightness_ratio)
        bright = _coloured(hear, base, wanted, asked)
        if split.is_dense:
            cells[True, False] = _decay_held(bright, base, asked)
        else:
            cells[True, False] = _with_decay(hear, bright, (base.decay, wanted), UNCHANGED, asked)
    if asked.decay_ratio is not None:
        cells[False, True] = _with_brightness(
            hear, hear(0.0, _other_damping(split, asked)), base.brightness, asked
        )
    if len(cells) == 3:
        bright, long = cells[True, False], cells[False, True]
        corrected = bright.damping.log_at_1_khz  # brightness alone took so much to keep its decay
        other = _other_damping(split, asked)
        both = hear(bright.tilt, other.times(float(np.exp(corrected))))
        both = _with_brightness(hear, both, bright.brightness, asked)
        cells[True, True] = _with_decay(hear, both, (long.decay, bright.brightness), other, asked)
    return cells


def _hearer(split: Split, asked: Asked) -> Callable[[float, Damping], _Heard]:
    gain_db = 0.0

    def hear(tilt: float, damping: Damping) -> _Heard:
        nonlocal gain_db
        made = reshape.together(split, damping=damping, tilt_db_per_octave=tilt)
        sound = trimmed(made, asked.window, onset_s=split.onset_s)
        start = sound.amplified(gain_db)  # near the last one: fewer steps
        gain_db += match.gain_db(start, asked.metric, target=asked.target, tolerance_db=asked.tolerance_db)
        loud = sound.amplified(gain_db)
        found = measures.measure(loud, fades_from_s=asked.window.fades_from_s).as_dict()
        return _Heard(tilt, damping, sound, gain_db, found[asked.brightness_key], found[asked.decay_key])

    return hear


def _coloured(
    hear: Callable[[float, Damping], _Heard], near: _Heard, wanted: float | None, asked: Asked
) -> _Heard:
    """The tilt at which brightness is what is wanted, by the secant rule in log brightness."""
    found, slope = near, 0.03  # log brightness per dB an octave, to start with
    for _ in range(MOST_STEPS):
        miss = _log_ratio(wanted, found.brightness)
        if abs(miss) <= FINENESS:
            return found
        tilt = found.tilt + miss / slope
        if abs(tilt) > STEEPEST_DB_PER_OCTAVE:
            break
        after = hear(tilt, found.damping)
        slope = float(
            np.clip(_log_ratio(after.brightness, found.brightness) / (tilt - found.tilt), 0.005, 0.3)
        )
        found = after
    raise StudyError(
        f"{near.sound.name}: {asked.brightness_key} of {wanted:.3f} cannot be reached by a tilt up to "
        f"{STEEPEST_DB_PER_OCTAVE:g} dB an octave; ask for less (isolation.brightness_ratio), or another base"
    )


def _with_brightness(
    hear: Callable[[float, Damping], _Heard], found: _Heard, wanted: float | None, asked: Asked
) -> _Heard:
    """The same with its brightness brought back, when the damping moved it beyond the tolerance."""
    if abs(_log_ratio(found.brightness, wanted)) <= asked.isolation.brightness_tolerance:
        return found
    return _coloured(hear, found, wanted, asked)


def _with_decay(
    hear: Callable[[float, Damping], _Heard],
    found: _Heard,
    wanted: tuple[float | None, float | None],
    damping: Damping,
    asked: Asked,
) -> _Heard:
    """The same with all damping re-scaled by one factor, when the colour moved the decay too far.

    Parameters
    ----------
    wanted : decay and brightness
    damping : what was asked: every T60 stays within `isolation.t60_tolerance` of it
    """
    limit = asked.isolation.decay_tolerance
    for _ in range(MOST_STEPS):
        miss = _log_ratio(found.decay, wanted[0])
        if abs(miss) <= limit / 2:
            return _held(found, damping, asked)
        found = hear(found.tilt, found.damping.times(float(np.exp(miss))))
        found = _with_brightness(hear, found, wanted[1], asked)
    raise StudyError(
        f"{found.sound.name}: {asked.decay_key} stays {100 * abs(miss):.1f} % from {wanted[0]:.3f}, "
        f"tolerance {100 * limit:g} %; ask for less brightness, or a larger isolation.decay_tolerance"
    )


def _decay_held(found: _Heard, base: _Heard, asked: Asked) -> _Heard:
    """The same, of dense modes, whose damping cannot be moved to hold the decay."""
    moved = float(np.exp(_log_ratio(found.decay, base.decay))) - 1.0
    limit = asked.isolation.decay_tolerance
    if abs(moved) > limit:
        raise StudyError(
            f"{found.sound.name}: with its brightness {asked.decay_key} moves by {100 * moved:+.1f} %, "
            f"{100 * limit:g} % allowed, though every partial keeps its T60; its modes are too dense to "
            "hold it: ask for less brightness, or set a larger isolation.decay_tolerance and say so"
        )
    return found


def _held(found: _Heard, damping: Damping, asked: Asked) -> _Heard:
    moved = float(np.exp(damping.log_at_1_khz - found.damping.log_at_1_khz)) - 1.0
    limit = asked.isolation.t60_tolerance
    by_power = asked.decay_key == "t60_s"  # a mean whose weights brightness moves
    other = "name decay_s under covariates.decay (t60_s weighs partials by their power), " if by_power else ""
    if abs(moved) > limit:
        raise StudyError(
            f"{found.sound.name}: to hold {asked.decay_key} every partial's T60 would move by "
            f"{100 * moved:+.1f} %, {100 * limit:g} % allowed; ask for less brightness, {other}"
            "or set a larger isolation.t60_tolerance and say so"
        )
    return found


def _times(value: float | None, ratio: float) -> float | None:
    return None if value is None else value * ratio


def _log_ratio(one: float | None, other: float | None) -> float:
    if one is None or other is None:
        raise StudyError(
            "isolation: the strike has no value of the brightness or decay that [covariates] names; "
            "calibrate the recordings, name centroid_hz and t60_s there, or, where it fades before the "
            "loudness has fallen to a tenth, set a longer trimming.length_s"
        )
    return float(np.log(one / other))


def _report(split: Split, cell: _Heard, base: _Heard, isolation: Isolation) -> Isolated:
    held, others = moved_partials.checked(split, cell.damping, cell.tilt)
    return Isolated(
        tilt_db_per_octave=cell.tilt,
        damping_factor=float(cell.damping.factor(np.array([reshape.REFERENCE_HZ]))[0]),
        damping_slope=cell.damping.slope,
        brightness_ratio=float(np.exp(_log_ratio(cell.brightness, base.brightness))),
        decay_ratio=float(np.exp(_log_ratio(cell.decay, base.decay))),
        explained=split.explained,
        partials=held,
        other_partials=others,
        **asdict(held_strike.checked(split, _as_heard(cell), _as_heard(base), isolation)),
    )


def _as_heard(cell: _Heard) -> Heard:
    made = (cell.tilt, cell.damping)
    return Heard(cell.sound.amplified(cell.gain_db), cell.gain_db, *made)


def _other_damping(split: Split, asked: Asked) -> Damping:
    """What takes the damping of a strike to the other end, as a smooth curve over frequency.

    Two bells have no partials in common, so a strike gives a straight line of log damping over log frequency,
    and the difference of two lines moves every partial.
    """
    if asked.end_line is None:
        return Damping(-float(np.log(asked.decay_ratio or 1.0)))
    level, slope = np.array(asked.end_line) - damping_line(split)
    hz = split.modes.frequency_hz
    return Damping(float(level), float(slope), (float(hz.min()), float(hz.max())))


def damping_line(split: Split) -> np.ndarray:
    """(2,) log damping at 1 kHz, and its slope over log frequency; strong partials weigh more."""
    energy_db = 10 * np.log10(np.abs(split.modes.amplitude) ** 2 / split.modes.decay_per_s)
    weight = np.maximum(energy_db - energy_db.max() + 40.0, 0.0)
    octave = np.log(split.modes.frequency_hz / reshape.REFERENCE_HZ)
    log_damping = np.log(split.modes.decay_per_s)
    if np.ptp(octave[weight > 0]) < np.log(2.0):
        return np.array([np.average(log_damping, weights=weight), 0.0])
    slope, level = np.polyfit(octave, log_damping, 1, w=np.sqrt(weight))
    return np.array([level, slope])
