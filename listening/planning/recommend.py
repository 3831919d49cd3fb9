"""The smallest panel that finds an effect often enough: first by formula, then by simulated studies."""

from collections.abc import Callable
from dataclasses import dataclass

from listening.planning import approximate, family_alpha, panel_size, power
from listening.planning.effect import Effect
from listening.planning.power import Wanted
from listening.records.manifest import Manifest
from listening.records.planned_power import Assumed, PowerCell
from listening.records.protocol import Protocol, Question

FEWEST, MOST = 8, 200  # below 8 listeners there is no verdict
STEPS = 4  # sizes simulated around the formula's answer


@dataclass(frozen=True)
class Recommended:
    """A panel size with the simulated studies behind it."""

    listeners: int | None
    """None when not even 200 listeners are enough."""
    by_formula: int | None
    tried: tuple[PowerCell, ...]


def listeners(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    effect: Effect,
    *,
    delta_logit: float,
    assumed: Assumed,
    target: float = 0.8,
    studies: int = 200,
    seed: int = 1,
    where: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> Recommended:
    """The smallest simulated panel whose chance of `supported` reaches the target.

    Parameters
    ----------
    delta_logit : the smallest effect that matters, for the formula
    """
    repeats = panel_size.block_of(protocol, question).repeats
    start = _by_formula(protocol, manifest, question, effect, delta_logit, assumed, target)
    if start is None:
        return Recommended(None, None, ())
    size, tried = start, list[PowerCell]()
    for step in range(STEPS):
        [cell] = power.simulate(
            protocol,
            manifest,
            question,
            [Wanted(size, repeats, effect)],
            assumed=assumed,
            studies=studies,
            seed=seed,
            where=where,
            on_progress=_part(on_progress, step * studies, STEPS * studies),
        )
        tried.append(cell)
        following = _next(tried, target)
        if following is None or not FEWEST <= following <= MOST:
            break
        size = following
    enough = [c.listeners for c in tried if power.chance(c).estimate >= target]
    return Recommended(min(enough, default=None), start, tuple(tried))


def _next(tried: list[PowerCell], target: float) -> int | None:
    """A sixth more after a size that falls short, a sixth fewer after one that is enough; None when known."""
    last = tried[-1]
    enough = power.chance(last).estimate >= target
    step = max(2, round(last.listeners / 6))
    following = last.listeners + (-step if enough else step)
    return None if following in {c.listeners for c in tried} else following


def _by_formula(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    effect: Effect,
    delta_logit: float,
    assumed: Assumed,
    target: float,
) -> int | None:
    made = panel_size.trials(protocol, manifest, question, listeners=MOST)
    alpha = family_alpha.deciding_alpha(protocol, question)
    for n in range(FEWEST, MOST + 1):
        found = approximate.power(
            made, n, effect.logit, delta_logit=delta_logit, alpha=alpha, assumed=assumed
        )
        if found.power >= target:
            return n
    return None


def _part(
    on_progress: Callable[[int, int], None] | None, before: int, total: int
) -> Callable[[int, int], None] | None:
    if on_progress is None:
        return None
    return lambda done, _: on_progress(before + done, total)
