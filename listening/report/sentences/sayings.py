"""What "3 times louder", "40 % of the energy" and "10 dB" mean, and whether a comparison bears them."""

import math

from listening.records.found.comparison import ComparedRow, ComparedStay, Comparison
from listening.report import rounding

TOLD_ELSEWHERE = {
    "laf_max_db": ("level (LAFmax)", 1),
    "loudness_level_phon": ("loudness level", 1),
    "sharpness_acum": ("brightness (sharpness)", 2),
    "centroid_hz": ("brightness (spectral centroid)", 0),
    "decay_s": ("ring (loudness to a tenth)", 2),
    "t30_s": ("ring (T30)", 2),
}
"""Metrics that are told in words: name and decimals."""
PHON_PER_DOUBLING = 10.0  # ISO 532-1:2017, 5.8, from 1 sone up


def of_comparison(found: Comparison) -> list[str]:
    """Sentences: the energy, the pressure and the loudness apart, then three sayings held against them."""
    lost, loud, level = (found.row(m) for m in ("energy_lost_db", "nmax_sone", "loudness_level_phon"))
    lines = [] if lost is None else [_energy(found, lost)]
    if loud is not None and level is not None and loud.a and loud.b:
        lines.append(_loudness(found, loud, level))
    else:
        lines.append("How much louder that is cannot be said: without a calibration there are no sone.")
    lines += [_times_louder(3.0, lost, level), _share(0.4, lost), _decibels(10.0)]
    return lines


def of_elsewhere(found: Comparison) -> list[str]:
    """Whether the two keep their difference elsewhere, in level, brightness and ring."""
    known = {one.metric: one for one in found.elsewhere}
    place = f"elsewhere ({found.place})" if found.place else "elsewhere"
    return [_stay(known[m], *TOLD_ELSEWHERE[m], place) for m in TOLD_ELSEWHERE if m in known]


def _stay(one: ComparedStay, name: str, digits: int, place: str) -> str:
    here, there = (f"{rounding.signed(value, digits)} {one.unit}" for value in (one.here, one.there))
    if one.lower is None or one.upper is None:
        return f"The difference in {name} is {here} here, {there} {place}; one strike bears no limits."
    limits = f"{rounding.number(one.lower, digits)} to {rounding.number(one.upper, digits)} {one.unit}"
    if one.inside_repeatability:
        return (
            f"The difference in {name} stays, as far as strikes tell: {here} here, {there} {place}; a "
            f"change of {limits} is not ruled out."
        )
    return f"The difference in {name} changes: {here} here, {there} {place} (change {limits})."


def pressure_lost_percent(lost_db: float) -> float:
    """Percent of the sound pressure that is gone: 10 dB is 68 %."""
    return float(100.0 * (1.0 - 10.0 ** (-lost_db / 20.0)))


def energy_lost_percent(lost_db: float) -> float:
    """Percent of the energy that is gone: 10 dB is 90 %."""
    return float(100.0 * (1.0 - 10.0 ** (-lost_db / 10.0)))


def _energy(found: Comparison, lost: ComparedRow) -> str:
    db = abs(lost.difference)
    gains, less = (found.a, found.b) if lost.difference >= 0 else (found.b, found.a)
    limits = "" if lost.lower is None or lost.upper is None else f" ({_pair(lost, 1)})"
    text = (
        f"{less} has {db:.1f} dB{limits} less energy than {gains}: {energy_lost_percent(db):.0f} % of the "
        f"energy is gone, and {pressure_lost_percent(db):.0f} % of the sound pressure; one fact in three "
        "units."
    )
    if lost.inside_repeatability:
        text += " Strikes alone may differ as much: no difference is shown."
    return text


def _pair(row: ComparedRow, digits: int) -> str:
    low, high = sorted((abs(row.lower or 0.0), abs(row.upper or 0.0)))
    if (row.lower or 0.0) < 0.0 < (row.upper or 0.0):
        return f"{rounding.number(row.lower, digits)} to {rounding.number(row.upper, digits)}"
    return f"{low:.{digits}f} to {high:.{digits}f}"


def _loudness(found: Comparison, loud: ComparedRow, level: ComparedRow) -> str:
    a, b = loud.a or 0.0, loud.b or 0.0
    louder, softer = (found.a, found.b) if a >= b else (found.b, found.a)
    times, phon = max(a, b) / min(a, b), abs(level.difference)
    return (
        f"As loudness, {louder} is {times:.2f} times as loud as {softer} ({max(a, b):.1f} against "
        f"{min(a, b):.1f} sone, {phon:.1f} phon apart); after ISO 532-1; whether people hear it so a panel "
        "decides."
    )


def _times_louder(times: float, lost: ComparedRow | None, level: ComparedRow | None) -> str:
    phon = PHON_PER_DOUBLING * math.log2(times)
    pressure_db, energy_db = 20 * math.log10(times), 10 * math.log10(times)
    here = []
    if level is not None:
        here.append(f"{abs(level.difference):.1f} phon")
    if lost is not None:
        here.append(f"{abs(lost.difference):.1f} dB")
    text = (
        f"“{times:g} times louder” is {phon:.1f} phon as loudness, {pressure_db:.1f} dB as pressure, "
        f"{energy_db:.1f} dB as energy: say which."
    )
    if not here:
        return text
    verdict = "" if level is None else _bears(abs(level.difference), phon)
    return f"{text} Here it is {' and '.join(here)}{verdict}."


def _bears(found: float, wanted: float) -> str:
    return ", enough for loudness" if found >= wanted else ", too little for loudness"


def _share(share: float, lost: ComparedRow | None) -> str:
    gone_db, left_db = -10 * math.log10(1 - share), -10 * math.log10(share)
    text = (
        f"“{100 * share:.0f} % of the energy” is {gone_db:.1f} dB if so much is lost, {left_db:.1f} dB if so "
        "much is left, and neither is heard as that share of the loudness."
    )
    return text if lost is None else f"{text} Here {abs(lost.difference):.1f} dB are lost or gained."


def _decibels(db: float) -> str:
    return (
        f"“{db:g} dB” less is {energy_lost_percent(db):.0f} % of the energy and "
        f"{pressure_lost_percent(db):.0f} % of the pressure; 10 phon less is half as loud (from 40 phon up)."
    )
