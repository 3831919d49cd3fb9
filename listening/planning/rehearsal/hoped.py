"""What is taken for true in a rehearsal: every planned question as hoped, or nothing at all."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from listening.errors import StudyError
from listening.planning import effect, rating_size
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question, Superlative
from listening.simulate.true_effects import Cell, Effects

State = Literal["as hoped", "nothing true"]
STATES: tuple[State, ...] = ("as hoped", "nothing true")
TIMES_SMALLEST = 2.0  # how far a hoped effect lies above the smallest that matters, where no share says it
MOST_HEARD = 0.9


@dataclass(frozen=True)
class Hoped:
    """The true effects of one state, by attribute and presentation."""

    state: State
    effects: Mapping[Cell, Effects]
    true: Mapping[str, float]
    """By question: the share of choices, the share not guessed or the points that are true of it."""
    assumed: Assumed


def of_study(
    protocol: Protocol, conditions: Mapping[str, Sequence[str]], share: float, assumed: Assumed, state: State
) -> Hoped:
    """What is true of every attribute and presentation.

    Parameters
    ----------
    conditions : those of each presentation
    share : of choices, hoped for each `more` that choices decide; equivalences are hoped to be equal

    Raises
    ------
    StudyError
        The share is none that a question could hope for.
    """
    if not 0.5 < share < 1:
        raise StudyError(f"effect: found a share of {share:g}, wanted one above 0.5 and below 1")
    cells = dict.fromkeys((b.attribute, b.presentation) for b in protocol.blocks)
    effects: dict[Cell, Effects] = {}
    true: dict[str, float] = {}
    asked_cells: set[Cell] = set()
    for attribute, presentation in cells:
        asked = [q for q in protocol.questions if (q.attribute, q.presentation) == (attribute, presentation)]
        named = [
            s for s in protocol.superlatives if (s.attribute, s.presentation) == (attribute, presentation)
        ]
        task = protocol.attribute(attribute).task
        if asked or named:
            asked_cells.add((attribute, presentation))
        wanted = {q.id: _logit(q, task, share, assumed, state) for q in asked}
        own = _Own(tuple(conditions[presentation]), asked, wanted, state)
        strength = own.strengths()
        top = effect.of_share(share, assumed).logit if state == "as hoped" else 0.0
        for one in named:
            strength = own.raised(strength, one, top)
        strength = _behind_the_reference(strength, protocol, attribute, presentation, asked)
        alike = own.alike()
        heard = max((_heard(q, state) for q in asked if q.of_kind.by_right_answers), default=0.0)
        holds_level = protocol.attribute(attribute).about_level or presentation == AS_RECORDED
        level_acts = not (holds_level and (asked or named))
        effects[attribute, presentation] = Effects(strength, alike, heard, level_acts)
        true |= {q.id: _true(q, task, strength, alike, heard, assumed) for q in asked}
        true |= {s.id: _of_top(s, strength, assumed) for s in named}
    return Hoped(state, _also_where_nothing_is_asked(effects, true_of=asked_cells), true, assumed)


def _also_where_nothing_is_asked(effects: Mapping[Cell, Effects], true_of: set[Cell]) -> dict[Cell, Effects]:
    """What is heard of an attribute is the same in a presentation that no question asks of."""
    first = {
        attribute: effects[attribute, p]
        for attribute, p in reversed(list(effects))
        if (attribute, p) in true_of
    }
    return {
        cell: one
        if cell in true_of or cell[0] not in first
        else replace(one, strength=first[cell[0]].strength, alike=first[cell[0]].alike)
        for cell, one in effects.items()
    }


def _behind_the_reference(
    strength: dict[str, float],
    protocol: Protocol,
    attribute: str,
    presentation: str,
    asked: Sequence[Question],
) -> dict[str, float]:
    """With a known reference in front of all others, so that it is heard out; questions on it say how far."""
    blocks = [b for b in protocol.blocks if (b.attribute, b.presentation) == (attribute, presentation)]
    reference = next((b.reference for b in blocks if b.reference), None)
    if reference is None or any(reference in q.contrast.conditions for q in asked):
        return strength
    others = [value for name, value in strength.items() if name != reference]
    return strength | {reference: max(others, default=0.0) + rating_size.REFERENCE_AHEAD}


@dataclass(frozen=True)
class _Own:
    """The conditions of one attribute and presentation, with what is asked of them."""

    conditions: tuple[str, ...]
    asked: Sequence[Question]
    wanted: Mapping[str, float]
    """By question, logit in each pair of its contrast."""
    state: State

    def strengths(self) -> dict[str, float]:
        """Strengths that put every question's pairs as far apart as wanted, as nearly as all can be had."""
        rows, apart = [], []
        for question in self.asked:
            for more, than in question.contrast.pairs:
                row = np.zeros(len(self.conditions))
                row[self.conditions.index(more)], row[self.conditions.index(than)] = 1.0, -1.0
                rows.append(row)
                apart.append(self.wanted[question.id])
        found = np.linalg.lstsq(np.array(rows), np.array(apart), rcond=None)[0] if rows else np.zeros(1)
        values = found if rows else np.zeros(len(self.conditions))
        return {name: float(round(value, 9)) for name, value in zip(self.conditions, values, strict=True)}

    def alike(self) -> dict[str, str]:
        """Conditions that an equivalence hopes to be equal are one to every listener."""
        groups = {name: name for name in self.conditions}
        if self.state == "nothing true":
            return groups
        pairs = [q.contrast.pairs for q in self.asked if q.of_kind.is_equivalence]
        return _joined(groups, [pair for several in pairs for pair in several])

    def raised(self, strength: dict[str, float], one: Superlative, lead: float) -> dict[str, float]:
        """With the condition of a superlative, and what hangs on it by questions, in front of all others."""
        if lead <= 0:
            return strength
        pairs = [pair for q in self.asked for pair in q.contrast.pairs]
        joined = _joined({name: name for name in self.conditions}, pairs)
        mine = {name for name in self.conditions if joined[name] == joined[one.condition]}
        others = [strength[name] for name in self.conditions if name not in mine]
        if not others:
            return strength
        up = max(0.0, lead - (strength[one.condition] - max(others)))
        return {name: value + up * (name in mine) for name, value in strength.items()}


def _joined(groups: dict[str, str], pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    found = dict(groups)
    for a, b in pairs:
        old, new = sorted((found[a], found[b]))[::-1]
        found = {name: new if group == old else group for name, group in found.items()}
    return found


def _logit(question: Question, task: str, share: float, assumed: Assumed, state: State) -> float:
    """How far apart the pairs of a question are; nothing true: even, or at the margin of an equivalence."""
    is_same, hoped = question.of_kind.is_equivalence, state == "as hoped"
    if question.of_kind.by_right_answers:
        return 1.0 if hoped else 0.0
    if question.unit == "points":
        points = question.smallest_effect * (1.0 if is_same else TIMES_SMALLEST)
        return points / effect.points_a_logit(task) if hoped != is_same else 0.0
    if hoped == is_same:
        return 0.0
    return effect.of_share(question.smallest_share if is_same else share, assumed).logit


def _heard(question: Question, state: State) -> float:
    return min(MOST_HEARD, TIMES_SMALLEST * question.smallest_effect) if state == "as hoped" else 0.0


def _true(
    question: Question,
    task: str,
    strength: Mapping[str, float],
    alike: Mapping[str, str],
    heard: float,
    assumed: Assumed,
) -> float:
    if question.of_kind.by_right_answers:
        return heard
    pairs = question.contrast.pairs
    logits = [strength[more] - strength[than] for more, than in pairs]
    if question.unit == "points":
        return float(np.mean(logits)) * effect.points_a_logit(task)
    own = [
        assumed.model_copy(update={"spread_listeners": 0.0}) if alike[more] == alike[than] else assumed
        for more, than in pairs
    ]
    return float(np.mean([effect.share_of(logit, each) for logit, each in zip(logits, own, strict=True)]))


def _of_top(one: Superlative, strength: Mapping[str, float], assumed: Assumed) -> float:
    """The share against the nearest of the others."""
    others = [value for name, value in strength.items() if name != one.condition]
    return effect.share_of(strength[one.condition] - max(others), assumed) if others else 0.5
