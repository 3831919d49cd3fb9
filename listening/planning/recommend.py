"""The smallest panel that finds an effect often enough: first by formula, then by simulated studies."""

from collections.abc import Callable
from dataclasses import dataclass

from listening.planning import approximate, family_alpha, level_plan, panel_size, power
from listening.planning.effect import Effect
from listening.planning.power import Wanted
from listening.records.protocols.planned_power import Assumed, PowerCell
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.manifest import Manifest

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
    assumed: Assumed,
    target: float = 0.8,
    studies: int = 200,
    seed: int = 1,
    where: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> Recommended:
    """The smallest simulated panel whose chance of `supported` reaches the target."""
    repeats = panel_size.hearings(panel_size.block_of(protocol, question))
    start = _by_formula(protocol, manifest, question, effect, assumed, target)
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
    assumed: Assumed,
    target: float,
) -> int | None:
    made = panel_size.trials(protocol, manifest, question, listeners=MOST)
    level = level_plan.of_question(protocol, manifest, question)
    alpha = family_alpha.deciding_alpha(protocol, question)
    low, high = FEWEST, MOST + 1  # more listeners never make the chance smaller
    while low < high:
        middle = (low + high) // 2
        chance = approximate.power(made, middle, effect.logit, alpha=alpha, assumed=assumed, level=level)
        low, high = (low, middle) if chance >= target else (middle + 1, high)
    return low if low <= MOST else None


def _part(
    on_progress: Callable[[int, int], None] | None, before: int, total: int
) -> Callable[[int, int], None] | None:
    if on_progress is None:
        return None
    return lambda done, _: on_progress(before + done, total)
