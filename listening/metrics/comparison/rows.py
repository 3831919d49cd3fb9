"""One metric over the strikes of two sides: values, difference with limits, repeatability."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from listening.metrics import uncertainty
from listening.metrics.comparison.strike_data import Strike
from listening.metrics.uncertainty import Difference

LEVEL = 0.95
UNITS = {
    "laf_max_db": "dB",
    "lae_db": "dB",
    "lze_db": "dB",
    "lc_peak_db": "dB",
    "nmax_sone": "sone",
    "loudness_level_phon": "phon",
    "sharpness_acum": "acum",
    "centroid_hz": "Hz",
    "rise_s": "s",
    "attack_s": "s",
    "strike_noise_db": "dB",
    "above_level_s": "s",
    "audible_s": "s",
    "decay_s": "s",
    "edt_s": "s",
    "t20_s": "s",
    "t30_s": "s",
}
LOST_DB, LOST_PERCENT = "energy_lost_db", "energy_lost_percent"


@dataclass(frozen=True)
class Row:
    """One metric on both sides.

    `difference` is b less a, except of what is lost, which is a less b. `lower` and `upper` are 95 % limits
    of the difference over strikes (Welch); None where a side has one strike. `ratio` is b over a; of a level
    in dB, of the energies; of phon, which is no ratio scale, None.
    """

    metric: str
    unit: str
    a: float | None
    b: float | None
    difference: float
    ratio: float | None
    lower: float | None
    upper: float | None
    strikes_a: int
    strikes_b: int
    inside_repeatability: bool | None
    """Whether the limits hold "no difference": strikes alone may differ as much. None with one strike."""


def of_all(a: Sequence[Strike], b: Sequence[Strike]) -> tuple[Row, ...]:
    """A row for every metric that both sides have, and the energy that is lost."""
    found = [row for metric in UNITS if (row := of_metric(metric, a, b)) is not None]
    energy = next((row for row in found if row.metric == "lze_db"), None)
    return tuple(found) if energy is None else (*found, *lost(energy))


def of_metric(metric: str, a: Sequence[Strike], b: Sequence[Strike]) -> Row | None:
    """The row of one metric; None where a side has no value at all."""
    kept = [[(v, s.unit) for s in side if (v := s.numbers[metric]) is not None] for side in (a, b)]
    if not all(kept):
        return None
    first, second = ([v for v, _ in side] for side in kept)
    units = [[u for _, u in side] for side in kept]
    means = [uncertainty.summary(v, u).mean for v, u in zip((first, second), units, strict=True)]
    change = difference(first, second, *units)
    gap = means[1] - means[0]
    return Row(
        metric=metric,
        unit=UNITS[metric],
        a=means[0],
        b=means[1],
        difference=gap,
        ratio=_ratio(UNITS[metric], *means),
        lower=change.low if change else None,
        upper=change.high if change else None,
        strikes_a=len(first),
        strikes_b=len(second),
        inside_repeatability=inside(change),
    )


def lost(energy: Row) -> tuple[Row, Row]:
    """What the row of an energy in dB says is lost from a to b, in dB and in percent; negative: gained."""
    in_db = Row(
        metric=LOST_DB,
        unit="dB",
        a=energy.a,
        b=energy.b,
        difference=-energy.difference,
        ratio=energy.ratio,
        lower=None if energy.upper is None else -energy.upper,
        upper=None if energy.lower is None else -energy.lower,
        strikes_a=energy.strikes_a,
        strikes_b=energy.strikes_b,
        inside_repeatability=energy.inside_repeatability,
    )
    in_percent = Row(
        metric=LOST_PERCENT,
        unit="%",
        a=100.0,
        b=100.0 - lost_percent(in_db.difference),
        difference=lost_percent(in_db.difference),
        ratio=energy.ratio,
        lower=None if in_db.lower is None else lost_percent(in_db.lower),
        upper=None if in_db.upper is None else lost_percent(in_db.upper),
        strikes_a=energy.strikes_a,
        strikes_b=energy.strikes_b,
        inside_repeatability=energy.inside_repeatability,
    )
    return in_db, in_percent


def difference(
    a: Sequence[float],
    b: Sequence[float],
    a_units: Sequence[str],
    b_units: Sequence[str],
    *,
    type_b: tuple[float, float] = (0.0, 0.0),
) -> Difference | None:
    """b less a, 95 % limits over strikes, or over units if there are several; None with one strike a side.

    `type_b` is a standard uncertainty of each side that its strikes have in common.
    """
    first = uncertainty.summary(a, a_units, type_b=type_b[0])
    second = uncertainty.summary(b, b_units, type_b=type_b[1])
    if first.standard_uncertainty is None or second.standard_uncertainty is None:
        return None
    return uncertainty.difference(second, first, level=LEVEL)


def inside(change: Difference | None) -> bool | None:
    """Whether "no difference" lies within the limits."""
    return None if change is None else change.low <= 0.0 <= change.high


def lost_percent(lost_db: float) -> float:
    """Percent of the energy that is gone after losing `lost_db`: 2.2 dB is 40 %, 10 dB is 90 %."""
    return float(100.0 * (1.0 - 10.0 ** (-lost_db / 10.0)))


def _ratio(unit: str, a: float, b: float) -> float | None:
    if unit == "phon":
        return None
    if unit == "dB":
        return float(10.0 ** ((b - a) / 10.0))
    return b / a if a and math.isfinite(b / a) else None
