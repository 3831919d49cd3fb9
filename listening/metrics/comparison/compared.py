"""Strikes of one side, such as hung free, against strikes of another, such as on the handlebar."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from listening.audio.sound import Sound
from listening.errors import SoundError
from listening.metrics import level, measures
from listening.metrics.comparison import band_losses, common_poles, matched_partials, rows, strike_data
from listening.metrics.comparison.band_losses import BandLoss
from listening.metrics.comparison.common_poles import Struck
from listening.metrics.comparison.matched_partials import PartialChange
from listening.metrics.comparison.rows import Row
from listening.metrics.comparison.strike_data import Strike
from listening.metrics.measures import Channel

DOWN_DB = 20.0  # the duration is taken above this much below a's mean LAFmax, unless a level is given
CALIBRATED_ONLY = frozenset({"nmax_sone", "loudness_level_phon", "sharpness_acum", "decay_s", "audible_s"})
WHY = {
    "above_level_s": "it never reaches the level, or still is above it at the end",
    "audible_s": "it is still heard when the recording ends",
    "strike_noise_db": "no partial stands out, so the strike's noise has nothing beside it",
}


@dataclass(frozen=True)
class Comparison:
    """Two sides of strikes, row by row, partial by partial, band by band."""

    a: str
    b: str
    calibrated: bool
    length_s: float
    """after the onset, over which energies are taken: the shortest recording's"""
    above_db: float | None
    """level of the row above_level_s; None where it was not taken"""
    background: bool
    """whether the background was taken off the energies of all strikes"""
    not_known: dict[str, str]
    """reason, by metric, of every row that is missing"""
    rows: tuple[Row, ...]
    partials: tuple[PartialChange, ...]
    bands: tuple[BandLoss, ...]

    def as_dict(self) -> dict[str, Any]:
        """Plain values, for JSON."""
        return asdict(self)


def of(
    a: Sequence[Sound],
    b: Sequence[Sound],
    *,
    names: tuple[str, str] = ("a", "b"),
    above_db: float | None = None,
    background: Sound | None = None,
) -> Comparison:
    """One-channel strikes of two sides compared; limits need two strikes on each side.

    Parameters
    ----------
    above_db : level for the duration; None: 20 dB below a's mean LAFmax
    background : the room alone, recorded with the same gain; None: what was recorded before each strike

    Raises
    ------
    SoundError
        A side without strikes, calibrated mixed with uncalibrated, rates mixed, several channels, silence.
    """
    check(a, b)
    examined = [[measures.examine(s) for s in side] for side in (a, b)]
    return of_examined(a, b, examined, names=names, above_db=above_db, background=background)


def of_examined(
    a: Sequence[Sound],
    b: Sequence[Sound],
    examined: Sequence[Sequence[Channel]],
    *,
    names: tuple[str, str],
    above_db: float | None = None,
    background: Sound | None = None,
    units: tuple[Sequence[str], Sequence[str]] | None = None,
) -> Comparison:
    """The same of sounds that have been examined already: `examined` is one list a side."""
    length_s = min(
        strike_data.ring_s(s, c.onset.time_s)
        for side, channels in zip((a, b), examined, strict=True)
        for s, c in zip(side, channels, strict=True)
    )
    loudest_db = float(np.mean([c.levels.laf_max_db for c in examined[0]]))
    above = loudest_db - DOWN_DB if above_db is None else above_db
    named = units or (["1"] * len(a), ["1"] * len(b))
    first, second = (
        [
            strike_data.of(s, length_s=length_s, above_db=above, background=background, unit=u, examined=c)
            for s, c, u in zip(side, channels, own, strict=True)
        ]
        for side, channels, own in zip((a, b), examined, named, strict=True)
    )
    together = [
        common_poles.of_side([Struck(one, sound) for one, sound in zip(strikes, side, strict=True)])
        for strikes, side in ((first, a), (second, b))
    ]
    return of_strikes(*together, names=names, length_s=length_s, above_db=above)


def of_strikes(
    a: Sequence[Strike],
    b: Sequence[Strike],
    *,
    names: tuple[str, str],
    length_s: float,
    above_db: float | None,
) -> Comparison:
    """The same of strikes whose numbers are known."""
    return Comparison(
        a=names[0],
        b=names[1],
        calibrated=a[0].calibrated,
        length_s=length_s,
        above_db=above_db,
        background=all(s.exposures.corrected for s in (*a, *b)),
        not_known=_not_known(a, b),
        rows=rows.of_all(a, b),
        partials=matched_partials.of_all(a, b),
        bands=band_losses.of_all(a, b, a[0].rate_hz),
    )


def _not_known(a: Sequence[Strike], b: Sequence[Strike]) -> dict[str, str]:
    found = {}
    for metric, unit in rows.UNITS.items():
        empty = [name for name, side in (("a", a), ("b", b)) if all(s.numbers[metric] is None for s in side)]
        if not empty:
            continue
        if metric in CALIBRATED_ONLY and not a[0].calibrated:
            found[metric] = f"not calibrated, so nothing in {unit}; give the pascal of full scale"
        else:
            found[metric] = f"{' and '.join(empty)}: {WHY.get(metric, 'hidden by noise or by the end')}"
    return found


def check(a: Sequence[Sound], b: Sequence[Sound]) -> None:
    """Refuse sides that cannot be compared."""
    if not a or not b:
        raise SoundError(f"{len(a)} and {len(b)} strikes, at least 1 on each side wanted, 2 for limits")
    sounds = [*a, *b]
    for sound in sounds:
        level.check_not_silent(sound)
    if len({s.calibrated for s in sounds}) > 1:
        raise SoundError(
            "calibrated and uncalibrated strikes in one comparison; calibrate all of them or none"
        )
    other = next((s for s in sounds if s.rate_hz != a[0].rate_hz), None)
    if other is not None:
        raise SoundError(
            f"{other.name}: {other.rate_hz} Hz, {a[0].name} has {a[0].rate_hz} Hz; convert it first"
        )
