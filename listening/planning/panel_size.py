"""Panels with a known effect: the plan's own trials, answered by drawn listeners."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listening.design import comparison
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.kinds import tasks
from listening.records.protocols.contrasts import Pair
from listening.records.protocols.planned_power import Assumed
from listening.records.protocols.protocol import Protocol, Question
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest
from stats.deciding.share_power import PlannedPair

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Columns = dict[str, Any]
FIRST, SECOND = 0, 1


@dataclass(frozen=True)
class Trials:
    """The trials that a question is decided on, slot after slot."""

    question: Question
    conditions: tuple[str, ...]
    stimuli: tuple[str, ...]
    slot: IntArray
    """(n,) slot of each trial, growing."""
    condition: IntArray
    """(n, 2) condition heard first and second."""
    stimulus: IntArray
    """(n, 2)"""
    specimen: tuple[str, ...] = ()
    """Of each stimulus; empty where specimens are not told apart."""

    @property
    def per_listener(self) -> float:
        """Trials of one listener, on average."""
        return len(self.slot) / (int(self.slot.max()) + 1)


def trials(
    protocol: Protocol,
    manifest: Manifest,
    question: Question,
    *,
    listeners: int,
    repeats: int | None = None,
    specimens: Mapping[str, str] | None = None,
) -> Trials:
    """The trials of a question's block for so many listeners, as `deal` would order them by slot.

    Parameters
    ----------
    repeats : hearings of the question's pair, in place of the block's own
    specimens : the specimen of each recording, as `stand_in.specimens` gives them

    Raises
    ------
    StudyError
        The question's block is not a paired comparison, or has nothing to compare.
    """
    block = block_of(protocol, question)
    if repeats is not None:
        block = block.model_copy(update={_hearings_key(block): repeats})
    slots = comparison.of_slots(protocol, manifest, block, listeners, draws=Draws.open_to_all(protocol.seed))
    of = {s.stimulus: s.condition for s in manifest.stimuli}
    heard = [[sound.stimulus for sound in trial.sounds] for slot in slots for trial in slot]
    stimuli = tuple(dict.fromkeys(name for pair in heard for name in pair))
    conditions = tuple(dict.fromkeys(of[name] for name in stimuli))
    if missing := set(question.contrast.conditions) - set(conditions):
        raise StudyError(
            f"question `{question.id}`: {', '.join(sorted(missing))} is not heard in its block, found "
            f"{', '.join(conditions) or 'nothing'}; compare two of the block, or make the stimuli again"
        )
    stimulus = np.array([[stimuli.index(name) for name in pair] for pair in heard])
    place = np.array([conditions.index(of[name]) for name in stimuli])
    slot = np.repeat(np.arange(listeners), [len(slot) for slot in slots])
    recording = {s.stimulus: s.recording for s in manifest.stimuli}
    specimen = tuple(specimens[recording[name]] for name in stimuli) if specimens else ()
    return Trials(question, conditions, stimuli, slot, place[stimulus], stimulus, specimen)


def hearings(block: Block) -> int:
    """How often a listener hears a planned pair of the block."""
    return int(getattr(block, _hearings_key(block)))


def _hearings_key(block: Block) -> str:
    return "repeats" if block.planned_repeats is None else "planned_repeats"


def block_of(protocol: Protocol, question: Question) -> Block:
    """The block on which a question is decided."""
    attribute = protocol.attribute(question.attribute)
    if tasks.named(attribute.task).family != "choice":
        raise StudyError(
            f"question `{question.id}`: planning by simulation knows paired comparisons, found "
            f"`{attribute.task}`; for counts of right answers: listening size --task"
        )
    where = (question.attribute, question.presentation)
    return next(b for b in protocol.blocks if (b.attribute, b.presentation) == where)


def met(made: Trials, names: Pair, listeners: int, effect_logit: float, assumed: Assumed) -> PlannedPair:
    """How often a listener hears a pair, and with how many strikes, as planned power takes it."""
    if not set(names) <= set(made.conditions):
        return PlannedPair(0, 0, (1, 1), effect_logit)
    places = sorted(made.conditions.index(name) for name in names)
    direct = (np.sort(made.condition, axis=1) == places).all(axis=1)
    heard, first_at = np.unique(made.stimulus[direct], return_index=True)
    place = made.condition[direct].ravel()[first_at]
    each = np.bincount(made.slot[direct], minlength=int(made.slot.max()) + 1)
    known = each > 0
    return PlannedPair(
        listeners=round(listeners * float(known.mean())),
        answers=round(float(each[known].mean())) if known.any() else 0,
        strikes=tuple(int((place == one).sum()) for one in places) if heard.size else (1, 1),
        logit=effect_logit,
        spread_listeners=assumed.spread_listeners,
        spread_strikes=assumed.spread_stimuli,
        lapses=assumed.lapses,
    )


def differences(made: Trials) -> FloatArray:
    """(pairs, conditions) 1 at the one said to have more in each pair of the question, -1 at the other."""
    pairs = made.question.contrast.pairs
    found = np.zeros((len(pairs), len(made.conditions)))
    for row, (more, than) in zip(found, pairs, strict=True):
        row[made.conditions.index(more)], row[made.conditions.index(than)] = 1.0, -1.0
    return found


def name(number: int) -> str:
    """How a simulated listener is called."""
    return f"{number:05d}"


def true_strengths(made: Trials, effect_logit: float) -> FloatArray:
    """(conditions,) log-odds that put `more` as far above `than` in each pair; the rest lie between."""
    rows = differences(made)
    return np.asarray(np.linalg.lstsq(rows, np.full(len(rows), effect_logit), rcond=None)[0])


def answers(
    made: Trials, listeners: int, effect_logit: float, assumed: Assumed, rng: np.random.Generator
) -> Columns:
    """Answers of a drawn panel to the first `listeners` slots, as columns that the analysis reads.

    Every listener has an own strength for each condition, every stimulus a pull of its own; the condition
    that the question says has more lies `effect_logit` above the other, the rest lie between.
    """
    keep = made.slot < listeners
    slot, condition, stimulus = made.slot[keep], made.condition[keep], made.stimulus[keep]
    k = len(made.conditions)
    strength = true_strengths(made, effect_logit)
    # a contrast is the difference of two strengths, so each takes half of its variance
    own = strength + rng.normal(0.0, assumed.spread_listeners / np.sqrt(2), (listeners, k))
    quirk = rng.normal(0.0, assumed.spread_stimuli, len(made.stimuli))
    if assumed.spread_specimens and made.specimen:
        known = sorted(set(made.specimen))
        pull = rng.normal(0.0, assumed.spread_specimens, len(known))
        quirk = quirk + pull[[known.index(name) for name in made.specimen]]
    order = assumed.order * (1.0 + rng.standard_normal(listeners))
    heard = own[slot[:, None], condition] + quirk[stimulus]
    chance = 1.0 / (1.0 + np.exp(heard[:, SECOND] - heard[:, FIRST] + order[slot]))
    chance = assumed.lapses / 2 + (1.0 - assumed.lapses) * chance
    chosen = (rng.random(len(slot)) < chance).astype(float)
    conditions, stimuli = np.array(made.conditions, object), np.array(made.stimuli, object)
    names = np.array([name(i) for i in range(listeners)], object)
    return {
        "listener": names[slot],
        "attribute": made.question.attribute,
        "presentation": made.question.presentation,
        "role": "study",
        "condition_first": conditions[condition[:, FIRST]],
        "condition_second": conditions[condition[:, SECOND]],
        "stimulus_first": stimuli[stimulus[:, FIRST]],
        "stimulus_second": stimuli[stimulus[:, SECOND]],
        "chosen": chosen,
    }
