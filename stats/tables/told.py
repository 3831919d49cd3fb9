"""Results in words: what was fitted, what it says in a sentence, then the numbers with their limits."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from stats import t_interval

COVERAGE = 0.95
DECIMALS = 4


@dataclass(frozen=True)
class Effect:
    """One number of a fit."""

    name: str
    estimate: float
    se: float
    df: float = math.inf
    """Degrees of freedom; infinite where the normal distribution is used."""
    p: float | None = None

    @property
    def limits(self) -> tuple[float, float]:
        """Both limits of the 95 % confidence interval."""
        return t_interval.of(self.estimate, self.se, self.df, COVERAGE)


def effects(found: Sequence[Effect]) -> list[str]:
    """A line an effect: its size, its limits, and in brackets what they rest on."""
    width = max((len(effect.name) for effect in found), default=0)
    return [f"  {effect.name:<{width}}  {_line(effect)}" for effect in found]


def sentence(found: Sequence[Effect]) -> str:
    """Which effects differ from zero by their limits, and which do not."""
    apart = [e.name for e in found if e.limits[0] > 0 or e.limits[1] < 0]
    rest = [e.name for e in found if e.name not in apart]
    said = [f"Different from zero by these limits: {', '.join(apart)}."] if apart else []
    said += [f"Not different from zero by these limits: {', '.join(rest)}."] if rest else []
    return " ".join(said)


def _line(effect: Effect) -> str:
    lower, upper = effect.limits
    number = f"{effect.estimate:+.{DECIMALS}f}"
    limits = f"between {lower:+.{DECIMALS}f} and {upper:+.{DECIMALS}f}"
    rests = [f"standard error {effect.se:.{DECIMALS}f}"]
    if math.isfinite(effect.df):
        rests.append(f"df {effect.df:.1f}")
    if effect.p is not None:
        rests.append(f"p {effect.p:.2g}")
    return f"{number:>10}  {limits}  ({', '.join(rests)})"
