"""How much sound a listener got: A-weighted exposure of the samples sent, and what it means for hearing.

Sources: exposure and its normalisation to 8 h, ISO 1999:2013; action values, directive 2003/10/EC article 3;
weekly allowance of personal listening, ITU-T H.870 (1.6 Pa²h a week for adults).
"""

import math
from collections.abc import Iterable

from listening.store.store import EventRow

REFERENCE_PASCAL = 20e-6
WORKING_DAY_H = 8.0
LOWER_ACTION_DB = 80.0  # 2003/10/EC, LEX,8h
UPPER_ACTION_DB = 85.0
LIMIT_DB = 87.0
WEEKLY_PA2H = 1.6  # ITU-T H.870, adults: 80 dB(A) for 40 h
SENT = "sent"
OPENED = "opened"


def daily_level_db(pascal_squared_hours: float) -> float:
    """LEX,8h of an A-weighted exposure, dB: the steady level that gives it in eight hours."""
    if pascal_squared_hours <= 0:
        return -math.inf
    return 10 * math.log10(pascal_squared_hours / (WORKING_DAY_H * REFERENCE_PASCAL**2))


def pascal_squared_hours(full_scale_squared_s: float, pascal_per_full_scale: float) -> float:
    """Exposure at the ear of samples whose A-weighted squares sum up to so much, full scale being 1."""
    return full_scale_squared_s * pascal_per_full_scale**2 / 3600.0


def detail(full_scale_squared_s: float) -> str:
    """What the store keeps of it; `sent` reads it back."""
    return f"{full_scale_squared_s:.6g} full scale^2 s, A-weighted, since this program began"


def sent(events: Iterable[EventRow]) -> float:
    """A-weighted exposure of all runs of a sitting, full scale² s: each run's last count, added up."""
    total = last = 0.0
    for event in events:
        if event.kind == OPENED:
            total, last = total + last, 0.0
        elif event.kind == SENT:
            last = float(event.detail.split()[0])
    return total + last


def words(full_scale_squared_s: float, pascal_per_full_scale: float | None) -> str:
    """The dose of a sitting for the researcher; without a calibration there is none to tell."""
    if pascal_per_full_scale is None:
        return "uncalibrated"
    energy = pascal_squared_hours(full_scale_squared_s, pascal_per_full_scale)
    level_db = daily_level_db(energy)
    if math.isinf(level_db):
        return "nothing played"
    above = next(
        (
            f", above the {name} of {limit_db:.0f} dB"
            for name, limit_db in (
                ("limit", LIMIT_DB),
                ("upper action value", UPPER_ACTION_DB),
                ("lower action value", LOWER_ACTION_DB),
            )
            if level_db >= limit_db
        ),
        "",
    )
    return f"LEX,8h {level_db:.0f} dB(A){above}"
