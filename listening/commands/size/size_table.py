"""The table of `listening size`: the simulated cells, and how they are told."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from listening import __version__
from listening.commands.size.size_asked import Asked
from listening.planning import (
    approximate,
    effect,
    family_alpha,
    level_plan,
    panel_size,
    power,
    rating_size,
    smallest,
)
from listening.planning.power import Wanted
from listening.planning.rating_size import RatingStudy
from listening.records.forms.form import digest_of
from listening.records.protocols.planned_power import PowerCell, PowerTable

SHARES = (0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9)  # true effects tried for the smallest one
LEVEL_BOUNDED = "level bounded"  # earlier tables took level as perfectly matched
P = TypeVar("P")


@dataclass(frozen=True)
class Found:
    """The simulated cells."""

    curve: tuple[PowerCell, ...]
    effects: tuple[PowerCell, ...]
    """At the planned panel, over the effects tried; empty unless asked for."""
    alpha: float


def simulate(asked: Asked, *, on_progress: Callable[[int, int], None] | None = None) -> Found:
    """All cells, those known from an interrupted or earlier run taken from the saved table."""
    wanted = [Wanted(n, r, asked.effect) for r in asked.repeats for n in asked.sizes]
    more = [
        Wanted(asked.protocol.panel.listeners, asked.repeats[0], effect.of_share(share, asked.assumed))
        for share in (SHARES if asked.smallest and not asked.is_rated else ())
    ]
    alpha = family_alpha.deciding_alpha(asked.protocol, asked.question)
    path = asked.place / f"size_{asked.question.id}_{_settings(asked, alpha)}.json"
    saved = PowerTable.load(path) if path.is_file() else _fresh(asked, alpha)

    def keep(cell: PowerCell) -> None:
        nonlocal saved
        others = tuple(c for c in saved.cells if _same_cell(c) != _same_cell(cell))
        saved = saved.model_copy(update={"cells": (*others, cell)})
        saved.save(path)

    made = power.simulate(
        asked.protocol,
        asked.manifest,
        asked.question,
        [*wanted, *more],
        assumed=asked.assumed,
        studies=asked.studies,
        seed=asked.seed,
        known=saved.cells,
        specimens=asked.specimens,
        where=asked.jobs,
        on_cell=keep,
        on_progress=on_progress,
    )
    return Found(tuple(made[: len(wanted)]), tuple(made[len(wanted) :]), alpha)


def lines(asked: Asked, found: Found) -> list[str]:
    """The table for people."""
    question = asked.question
    text = [
        f"{question.id}: {question.contrast.more} against {question.contrast.than}, kind `{question.kind}`, "
        f"true effect {asked.effect.said} ({asked.effect.logit:+.2f} logit)",
        f"decided at one-sided alpha {found.alpha:.4g} (family and planned looks counted)",
        _spreads(asked),
        *_weakest(asked, found),
        "listeners  repeats  trials   supported (95 % Monte Carlo)   contradicted  undecided   by formula",
    ]
    for cell in found.curve:
        chance = power.chance(cell)
        made = _trials(asked, cell)
        near = _approximation(asked, found, cell)
        text.append(
            f"{cell.listeners:9d}{cell.repeats:9d}{made.per_listener:8.0f}   {chance.estimate:5.2f} "
            f"({chance.lower:.2f} to {chance.upper:.2f})            {cell.contradicted / cell.studies:8.2f}"
            f"{cell.undecided / cell.studies:11.2f}   {near}"
        )
    return text + _smallest_lines(asked, found) + _advice(asked, found)


def _weakest(asked: Asked, found: Found) -> list[str]:
    """Which of several pairs the formula goes by."""
    cell = found.curve[0]
    made = _trials(asked, cell)
    if isinstance(made, RatingStudy):
        return []
    weak = approximate.weakest_pair(made, cell.listeners, cell.effect_logit, asked.assumed)
    if weak is None:
        return []
    n = len(asked.question.contrast.pairs)
    return [f"the formula goes by the weakest of its {n} pairs: {weak[0]} against {weak[1]}"]


def _spreads(asked: Asked) -> str:
    """What was assumed, in points for ratings, with how many strikes and specimens."""
    assumed, unit = asked.assumed, asked.points if asked.is_rated else 1.0
    heard = {s.recording: s.condition for s in asked.manifest.stimuli}
    ends = asked.question.contrast.conditions
    strikes = min(sum(condition == end for condition in heard.values()) for end in ends)
    own = min(len({asked.specimens[r] for r, condition in heard.items() if condition == end}) for end in ends)
    apart = f", of specimens {unit * assumed.spread_specimens:.2f}" if assumed.spread_specimens else ""
    return (
        f"spread of listeners {unit * assumed.spread_listeners:.2f}, of strikes "
        f"{unit * assumed.spread_stimuli:.2f}{apart} {'points' if asked.is_rated else 'logit'} "
        f"({assumed.source}); {strikes} strikes of {own} specimen{'s' if own > 1 else ''} a sound"
    )


def as_json(asked: Asked, found: Found) -> dict[str, Any]:
    """The table for programs."""
    return {
        "question": asked.question.id,
        "effect": {"logit": asked.effect.logit, "said": asked.effect.said},
        "alpha": found.alpha,
        "assumed": asked.assumed.model_dump(),
        "seed": asked.seed,
        "cells": [_cell(cell) for cell in found.curve],
        "effects": [_cell(cell) for cell in found.effects],
        "smallest": vars(smallest.effect(found.effects, asked.target)) if found.effects else None,
        "recommended_listeners": _recommended(asked, found),
    }


def series(found: Found, point: Callable[[int, float, float, float], P]) -> list[tuple[str, list[P]]]:
    """For the figure: one series for each number of repeats."""
    made = []
    for repeats in dict.fromkeys(cell.repeats for cell in found.curve):
        cells = sorted((c for c in found.curve if c.repeats == repeats), key=lambda c: c.listeners)
        chances = [(c.listeners, power.chance(c)) for c in cells]
        name = f"{repeats} repeat{'s' if repeats > 1 else ''} of a pair"
        made.append((name, [point(n, c.estimate, c.lower, c.upper) for n, c in chances]))
    return made


def _settings(asked: Asked, alpha: float) -> str:
    """What must agree for simulated studies to be added up."""
    assumed = asked.assumed.model_dump_json(exclude_defaults=True)
    heard = sorted((s.stimulus, asked.specimens[s.recording]) for s in asked.manifest.stimuli)
    made = asked.manifest.digest() if asked.is_prepared else ""
    parts = (asked.protocol_digest, asked.question.id, asked.seed, alpha, assumed, heard, LEVEL_BOUNDED, made)
    return digest_of(repr(parts))[:10]


def _fresh(asked: Asked, alpha: float) -> PowerTable:
    return PowerTable(
        version=__version__,
        protocol_digest=asked.protocol_digest,
        question=asked.question.id,
        kind=asked.question.kind,
        alpha=alpha,
        seed=asked.seed,
        assumed=asked.assumed,
    )


def _same_cell(cell: PowerCell) -> tuple[int, int, float]:
    return cell.listeners, cell.repeats, round(cell.effect_logit, 6)


def _trials(asked: Asked, cell: PowerCell) -> panel_size.Trials | RatingStudy:
    if asked.is_rated:
        return rating_size.study(
            asked.protocol,
            asked.manifest,
            asked.question,
            listeners=cell.listeners,
            repeats=cell.repeats,
            effect_logit=cell.effect_logit,
            assumed=asked.assumed,
        )
    return panel_size.trials(
        asked.protocol, asked.manifest, asked.question, listeners=cell.listeners, repeats=cell.repeats
    )


def _approximation(asked: Asked, found: Found, cell: PowerCell) -> str:
    made = _trials(asked, cell)
    if isinstance(made, RatingStudy):
        known = rating_size.by_formula(made, cell.effect_logit, alpha=found.alpha)
        return "-" if known is None else f"{known:.2f}"
    near = approximate.power(
        made,
        cell.listeners,
        cell.effect_logit,
        alpha=found.alpha,
        assumed=asked.assumed,
        level=_level(asked),
    )
    return f"{near:.2f}"


def _level(asked: Asked) -> level_plan.LevelPlan | None:
    return level_plan.of_question(asked.protocol, asked.manifest, asked.question)


def _delta(asked: Asked) -> float:
    question = asked.question
    if question.unit == "points":
        return question.smallest_effect / asked.points
    if question.unit == "logit":
        return question.smallest_effect
    return effect.of_share(question.smallest_effect, asked.assumed).logit


def _smallest_lines(asked: Asked, found: Found) -> list[str]:
    if not found.effects:
        return []
    listeners = asked.protocol.panel.listeners
    text = [f"with the planned {listeners} listeners, chance of `supported` by true effect:"]
    for cell in found.effects:
        chance = power.chance(cell)
        text.append(
            f"  {cell.effect_said:<26} {chance.estimate:5.2f} ({chance.lower:.2f} to {chance.upper:.2f})"
        )
    at = smallest.effect(found.effects, asked.target)
    if at.estimate is None:
        return [*text, f"none of these crosses a chance of {asked.target:g}"]
    share = effect.share_of(at.estimate, asked.assumed)
    return [
        *text,
        f"smallest effect found with a chance of {asked.target:g}: {at.estimate:.2f} logit, "
        f"chosen {100 * share:.0f} times in 100",
    ]


def _recommended(asked: Asked, found: Found) -> int | None:
    """The smallest panel tried whose chance surely reaches the target less its Monte Carlo margin."""
    enough = [c.listeners for c in found.curve if power.chance(c).estimate >= asked.target]
    return min(enough, default=None)


def _advice(asked: Asked, found: Found) -> list[str]:
    enough = _recommended(asked, found)
    text = []
    if asked.question.of_kind.has_direction and asked.effect.logit <= _delta(asked) + 1e-9:
        text.append(
            "the true effect is no larger than the smallest that matters: `supported` then needs luck, at "
            "most 1 in 2 whatever the panel"
        )
    if enough is None:
        return [*text, f"no size tried reaches a chance of {asked.target:g}; {_proposed(asked, found)}"]
    return [*text, f"smallest panel tried that reaches a chance of {asked.target:g}: {enough} listeners"]


def _proposed(asked: Asked, found: Found) -> str:
    """What the largest panel tried would need instead, by formula."""
    last = max(found.curve, key=lambda cell: (cell.listeners, cell.repeats))
    made = _trials(asked, last)
    if isinstance(made, RatingStudy):
        return "try more listeners (--listeners), ratings (--repeats) or strikes (--strikes)"
    told = approximate.remedies(
        made,
        last.listeners,
        asked.effect.logit,
        alpha=found.alpha,
        assumed=asked.assumed,
        target=asked.target,
        level=_level(asked),
    )
    if not told:
        return "by formula no number of listeners, hearings or strikes alone does: try them together"
    return f"by formula {' or '.join(told)} would, beside {last.listeners} listeners"


def _cell(cell: PowerCell) -> dict[str, Any]:
    chance = power.chance(cell)
    return {
        **cell.model_dump(),
        "studies": cell.studies,
        "power": chance.estimate,
        "lower": chance.lower,
        "upper": chance.upper,
    }
