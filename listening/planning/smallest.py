"""The smallest true effect that a panel finds often enough, read from simulated studies."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from listening.planning import power
from listening.records.protocols.planned_power import PowerCell


@dataclass(frozen=True)
class Smallest:
    """Where the chance of `supported` reaches the target; log-odds."""

    estimate: float | None
    """Between the effects tried, straight on the logit scale; None where none of them reaches it."""
    surely_above: float | None
    """Largest effect tried whose chance is surely (95 %) below the target."""
    surely_below: float | None
    """Smallest effect tried whose chance is surely above the target."""


def effect(cells: Sequence[PowerCell], target: float = 0.8) -> Smallest:
    """The smallest effect found with the target chance, from cells of one size and growing effects."""
    ordered = sorted(cells, key=lambda cell: cell.effect_logit)
    chances = [power.chance(cell) for cell in ordered]
    short = [c.effect_logit for c, p in zip(ordered, chances, strict=True) if p.upper < target]
    enough = [c.effect_logit for c, p in zip(ordered, chances, strict=True) if p.lower > target]
    return Smallest(_crossing(ordered, target), max(short, default=None), min(enough, default=None))


def _crossing(cells: Sequence[PowerCell], target: float) -> float | None:
    wanted = math.log(target / (1 - target))
    # half a study is added to each side, so that none and all have a logit
    logits = [math.log((c.supported + 0.5) / (c.studies - c.supported + 0.5)) for c in cells]
    for (low, high), (one, two) in zip(pairwise(logits), pairwise(cells), strict=True):
        if low < wanted <= high:
            share = (wanted - low) / (high - low)
            return one.effect_logit + share * (two.effect_logit - one.effect_logit)
    return None
