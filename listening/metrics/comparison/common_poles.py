"""The modes of strikes of one object, read with poles common to all of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from listening.audio.sound import Sound
from listening.metrics.comparison.strike_data import Mode, Strike
from listening.metrics.ringing import partial_doubts, shared_partials
from listening.metrics.ringing.shared_partials import TOGETHER_HZ, SharedPartial, Source


@dataclass(frozen=True, eq=False)
class Struck:
    """A strike, and the one-channel sound its partials were found in."""

    strike: Strike
    sound: Sound


def of_side(side: Sequence[Struck]) -> list[Strike]:
    """The strikes of one side, in their order, those of one specimen read together.

    Each strike then holds, beside the common frequency and T60 of a mode, what it alone reads there with the
    same number of modes. Where the strikes do not agree on a pole, or it does not explain them (a support
    that was strapped on anew), each keeps the modes that were found in it alone.
    """
    made = {id(one): one.strike for one in side}
    for unit in dict.fromkeys(one.strike.unit for one in side):
        own = [one for one in side if one.strike.unit == unit]
        if len(own) > 1:
            together = _together(own)
            made |= {id(one): strike for one, strike in zip(own, together, strict=True)}
    return [made[id(one)] for one in side]


def _together(side: Sequence[Struck]) -> list[Strike]:
    found = shared_partials.find([Source(s.sound, s.strike.onset_s, s.strike.partials) for s in side])
    modes: list[list[Mode]] = [[] for _ in side]
    of_sound = [_of_sound(one.strike) for one in side]
    for shared, alone in _neighbourhoods(found, [one.strike.modes for one in side]):
        is_common = bool(shared) and not any(p.doubts for p in shared)
        for place, own in enumerate(alone):
            modes[place] += _read_together(shared, place, of_sound[place]) if is_common else own
    return [replace(one.strike, modes=tuple(own)) for one, own in zip(side, modes, strict=True)]


def _of_sound(strike: Strike) -> tuple[str, ...]:
    """Doubts that the whole recording is under: agreeing strikes may all have been recorded so."""
    return tuple(k for k in partial_doubts.OF_A_SOUND if any(k in m.doubts for m in strike.modes))


def _read_together(shared: Sequence[SharedPartial], place: int, doubts: tuple[str, ...]) -> list[Mode]:
    """What one strike reads of common modes; those that it hardly has are left out."""
    return [
        Mode(
            frequency_hz=p.frequency_each_hz[place] or p.frequency_hz,
            level_db=p.level_db[place],
            t60_s=t60_s,
            common_hz=p.frequency_hz,
            common_t60_s=p.t60_s,
            model_se=p.t60_stretch_se_s / p.t60_s,
            doubts=doubts,
            is_common=True,
        )
        for p in shared
        if (t60_s := p.t60_each_s[place]) is not None
    ]


def _neighbourhoods(
    shared: Sequence[SharedPartial], alone: Sequence[Sequence[Mode]]
) -> list[tuple[list[SharedPartial], list[list[Mode]]]]:
    """Common partials and each strike's own modes, in stretches with 12 Hz of nothing between."""
    everything: list[tuple[float, int, SharedPartial | Mode]] = [(p.frequency_hz, -1, p) for p in shared]
    everything += [(m.frequency_hz, place, m) for place, own in enumerate(alone) for m in own]
    found: list[tuple[list[SharedPartial], list[list[Mode]]]] = []
    before_hz = -TOGETHER_HZ
    for hz, place, one in sorted(everything, key=lambda row: row[:2]):
        if hz - before_hz >= TOGETHER_HZ:
            found.append(([], [[] for _ in alone]))
        before_hz = hz
        if isinstance(one, Mode):
            found[-1][1][place].append(one)
        else:
            found[-1][0].append(one)
    return found
