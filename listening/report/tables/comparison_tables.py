"""A comparison of two sets of strikes as tables: the text of every cell, rounded; nothing computed."""

from listening.records.found.comparison import (
    ComparedBand,
    ComparedPartial,
    ComparedRow,
    ComparedStay,
    Comparison,
)
from listening.records.kinds import metric_register
from listening.report.rounding import MINUS, number, signed
from listening.report.tables.table_form import Table

NAMES = {metric.key: (metric.name, metric.decimals) for metric in metric_register.ALL} | {
    "lze_db": ("unweighted exposure", 1),
    "rise_s": ("rise, 10 to 90 %", 4),
    "attack_s": ("attack, -20 to -3 dB", 4),
    "strike_noise_db": ("strike noise, rel.", 1),
    "above_level_s": ("time above the level", 2),
    "audible_s": ("heard over the room for", 2),
    "decay_s": ("loudness to a tenth", 2),  # the full name is too long for 80 columns
    "edt_s": ("EDT", 2),
    "energy_lost_db": ("energy lost", 1),
    "energy_lost_percent": ("energy lost", 0),
}
SAME = "inside repeatability"
ONE_STRIKE = "one strike a side: no limits"


def rows(found: Comparison) -> Table:
    """Every metric on both sides with the 95 % limits of the difference."""
    head = ("metric", "unit", found.a, found.b, "difference", "95 % limits", "strikes", "")
    cells = tuple(_row(r) for r in found.rows)
    return Table(f"{found.a} with {found.b}", head, cells, frozenset({2, 3, 4, 5}))


def elsewhere(found: Comparison) -> Table:
    """Whether the two differ elsewhere as they do here, metric by metric."""
    head = ("metric", "unit", "here", "elsewhere", "change", "95 % limits", "")
    cells = tuple(_stay(one) for one in found.elsewhere)
    place = f" ({found.place})" if found.place else ""
    caption = f"{found.b} less {found.a}, here and elsewhere{place}"
    return Table(caption, head, cells, frozenset({2, 3, 4, 5}))


def _stay(one: ComparedStay) -> tuple[str, ...]:
    name, digits = NAMES.get(one.metric, (one.metric, 2))
    limits = "–" if one.lower is None else f"{_plain(one.lower, digits)} to {_plain(one.upper, digits)}"
    values = (signed(value, digits) for value in (one.here, one.there, one.change))
    return (name, one.unit, *values, limits, _mark(one.inside_repeatability))


def partials(found: Comparison) -> Table:
    """Every partial on both sides."""
    head = ("Hz", "shift, Hz", "level, dB", "limits", "T60 a, s", "T60 b, s", "ratio", "limits", "")
    poles = _poles(found)
    caption = f"Partial by partial, {found.a} (a) with {found.b} (b); beating pairs by energy sum{poles}"
    return Table(caption, head, tuple(map(_partial, found.partials)), frozenset(range(8)))


def _poles(found: Comparison) -> str:
    both = [p for p in found.partials if p.a_hz is not None and p.b_hz is not None]
    common = sum(p.common_poles for p in both)
    if not common:
        return "; each strike read alone"
    of = "" if common == len(both) else f" ({common} of {len(both)})"
    return f"; strikes of a side read together{of}"


def bands(found: Comparison, per_octave: int) -> Table:
    """What is lost in each octave (1) or third-octave (3)."""
    name = "octave" if per_octave == 1 else "third-octave"
    taken = "background taken off" if found.background else "no background known, nothing taken off"
    head = (f"{name}, Hz", "a, dB", "b, dB", "lost, dB", "95 % limits", "lost, %", "")
    cells = tuple(_band(b) for b in found.bands if b.per_octave == per_octave)
    return Table(f"Energy lost by {name}, {taken}", head, cells, frozenset(range(6)))


def nominal(midband_hz: float) -> str:
    """Midband frequency as it is called: 3981 Hz is the 4000 Hz band. Source: IEC 61260-1:2014, annex E."""
    digits = 2 if midband_hz < 100 else 3
    exact = float(f"{midband_hz:.{digits}g}")
    return f"{min(PREFERRED, key=lambda p: abs(p / exact - 1)):g}"


PREFERRED = tuple(
    round(base * 10.0**power, 1)
    for power in range(1, 5)
    for base in (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
)


def _row(r: ComparedRow) -> tuple[str, ...]:
    name, digits = NAMES.get(r.metric, (r.metric, 2))
    is_lost = r.metric.startswith("energy_lost")
    values = ("", "") if is_lost else (number(r.a, digits), number(r.b, digits))
    limits = "–" if r.lower is None else f"{_plain(r.lower, digits)} to {_plain(r.upper, digits)}"
    change = number(r.difference, digits) if is_lost else signed(r.difference, digits)
    strikes = f"{r.strikes_a}, {r.strikes_b}"
    return (name, r.unit, *values, change, limits, strikes, _mark(r.inside_repeatability))


def _partial(p: ComparedPartial) -> tuple[str, ...]:
    limits = "–" if p.lower is None else f"{number(p.lower, 3)} to {number(p.upper, 3)}"
    level = (
        "–" if p.level_lower_db is None else f"{_plain(p.level_lower_db, 1)} to {_plain(p.level_upper_db, 1)}"
    )
    hz = p.a_hz if p.a_hz is not None else p.b_hz
    return (
        number(hz, 1),
        signed(p.shift_hz, 2),
        signed(p.level_db, 1),
        level,
        number(p.t60_a_s, 3),
        number(p.t60_b_s, 3),
        number(p.t60_ratio, 3),
        limits,
        p.why or _mark(p.inside_repeatability),
    )


def _band(b: ComparedBand) -> tuple[str, ...]:
    limits = "–" if b.lower is None else f"{_plain(b.lower, 1)} to {_plain(b.upper, 1)}"
    values = (number(b.a_db, 1), number(b.b_db, 1), number(b.lost_db, 1), limits, number(b.lost_percent, 0))
    return (nominal(b.midband_hz), *values, b.why or _mark(b.inside_repeatability))


def _plain(value: float | None, digits: int) -> str:
    return number(value, digits).replace(MINUS + " ", MINUS)


def _mark(is_inside: bool | None) -> str:
    if is_inside is None:
        return ONE_STRIKE
    return SAME if is_inside else ""
