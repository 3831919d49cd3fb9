"""How numbers are printed: one place, so that every page and sentence rounds alike."""

import math

from listening.records.found.interval import Interval

MINUS = "\N{MINUS SIGN}"


def number(value: float | None, digits: int = 2) -> str:
    """A number with a true minus sign; a dash where there is none."""
    if value is None:
        return "–"
    text = f"{value:.{digits}f}"
    return text.replace("-", MINUS) if float(text) else text.lstrip("-")


def signed(value: float | None, digits: int = 2) -> str:
    """A number that always shows its sign."""
    if value is None:
        return "–"
    text = number(value, digits)
    return text if text.startswith(MINUS) or not float(text) else f"+{text}"


def limits(found: Interval | None, digits: int = 2) -> str:
    """Both limits in words; an open side says so."""
    if found is None:
        return "–"
    if found.lower is None and found.upper is None:
        return "no limit"
    if found.upper is None:
        return f"{number(found.lower, digits)} or more"
    if found.lower is None:
        return f"{number(found.upper, digits)} or less"
    return f"{number(found.lower, digits)} to {number(found.upper, digits)}"


def in_hundred(share: float | None) -> str:
    """A share as so many in 100; 100 and 0 are kept for the exact ones."""
    if share is None:
        return "–"
    rounded = round(100 * share)
    if rounded == 100 and share < 1:
        return "more than 99"
    if rounded == 0 and share > 0:
        return "fewer than 1"
    return str(rounded)


def as_share(logit: float | None) -> float | None:
    """Log-odds of a choice as the share of choices that they stand for: the same number in another unit."""
    return None if logit is None else 1.0 / (1.0 + math.exp(-logit))


def in_hundred_of_logit(logit: float, digits: int) -> str:
    """Log-odds of a choice as so many choices in 100."""
    return number(100 * (as_share(logit) or 0.0), digits)


def shares_of(found: Interval | None) -> str:
    """Limits in log-odds, as so many choices in 100; an open side says so."""
    if found is None or (found.lower is None and found.upper is None):
        return "–" if found is None else "no limit"
    if found.upper is None:
        return f"{in_hundred(as_share(found.lower))} or more"
    if found.lower is None:
        return f"{in_hundred(as_share(found.upper))} or less"
    return f"{in_hundred(as_share(found.lower))} to {in_hundred(as_share(found.upper))}"


def in_hundred_beside(share: float | None, other: float | None) -> str:
    """A share as so many in 100, with as many decimals as tell it from the other one."""
    digits, text = 0, in_hundred(share)
    while (
        share is not None
        and other is not None
        and share != other
        and text == in_hundred(other)
        and digits < 4
    ):
        digits += 1
        if round(100 * share, digits) != round(100 * other, digits):
            text = number(100 * share, digits)
    return text


def hundreds(share: float | None) -> str:
    """A share as parts of 100 that may lie below 0 or above 100: an estimate with its noise taken off."""
    return "–" if share is None else number(100 * share, 0)


def hundred_limits(found: Interval | None) -> str:
    """Both limits of such a share."""
    if found is None or found.lower is None or found.upper is None:
        return "–" if found is None else "no limit"
    return f"{hundreds(found.lower)} to {hundreds(found.upper)}"


def p_value(p: float | None) -> str:
    """A p-value with its relation."""
    if p is None:
        return "–"
    if p < 0.0001:
        return "< 0.0001"
    return f"= {p:.4f}" if p < 0.01 else f"= {p:.2f}"


def level(coverage: float) -> str:
    """Coverage of an interval as a percentage: 95 %."""
    return f"{round(100 * coverage, 1):g} %"
