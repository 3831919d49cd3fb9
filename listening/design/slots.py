"""What each slot hears, in order: attributes by a Williams square, practice first, then the trials."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from listening.design import comparison, forms, joint_trials, late_sounds, order, session_parts, williams
from listening.design.dealt_trial import Trial, strikes
from listening.design.draws import Draws
from listening.design.order import CarryOver, Ordered
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest


def of_study(protocol: Protocol, manifest: Manifest, draws: Draws) -> list[Ordered]:
    """(is practice, trial) of each slot, planned and spare, in the order they are heard."""
    return list(in_turn(protocol, manifest, draws))


def in_turn(protocol: Protocol, manifest: Manifest, draws: Draws) -> Iterator[Ordered]:
    """The same slot by slot, each put in order when it is asked for; late stages are left out."""
    protocol, manifest = _as_dealt(protocol, manifest)
    n_slots = protocol.panel.listeners + protocol.panel.spare
    asked = joint_trials.leaders(protocol)
    trials = _dealt(protocol, manifest, n_slots, draws)
    shift = int(draws.of("attributes").integers(1000))
    condition = {s.stimulus: s.condition for s in manifest.stimuli}
    carry = {name: CarryOver(condition) for name in asked}
    squares = _Squares(draws)
    rows = session_parts.orders(protocol, n_slots, draws)
    for slot in range(n_slots):
        rng = draws.of("slot", slot)
        names = order.attributes(asked, slot, shift)
        own = {name: trials[name][slot] for name in names}
        ordered = [
            trial
            for number, held in enumerate(
                session_parts.of_slot(protocol, own, slot, rows[slot], condition=condition)
            )
            for trial in _session(protocol, held, slot + number, squares=squares, rng=rng, carry=carry)
        ]
        yield joint_trials.spread(protocol, slot, ordered, draws=draws)


def _session(
    protocol: Protocol,
    trials: dict[str, list[Trial]],
    slot: int,
    *,
    squares: "_Squares",
    rng: np.random.Generator,
    carry: dict[str, CarryOver],
) -> Ordered:
    """The trials of one session in the order they are heard; practice before each attribute."""
    practice = [_practice(own, protocol.sitting.practice_trials, rng) for own in trials.values()]
    if protocol.sitting.mixed:
        every = [trial for own in trials.values() for trial in own]
        return [t for p in practice for t in p] + _counted(every, rng, next(iter(carry.values())))
    blocks = [_in_order(own, slot, squares, rng, carry[name]) for name, own in trials.items()]
    return [t for p, block in zip(practice, blocks, strict=True) for t in p + block]


def unordered(protocol: Protocol, manifest: Manifest, draws: Draws) -> Iterator[Ordered]:
    """The same trials slot by slot, practice first, in no order to be heard in: for counting, and quicker."""
    protocol, manifest = _as_dealt(protocol, manifest)
    n_slots = protocol.panel.listeners + protocol.panel.spare
    trials = _dealt(protocol, manifest, n_slots, draws)
    rows = session_parts.orders(protocol, n_slots, draws)
    condition = {s.stimulus: s.condition for s in manifest.stimuli}
    for slot in range(n_slots):
        rng = draws.of("slot", slot)
        own = {name: trials[name][slot] for name in trials}
        held = session_parts.of_slot(protocol, own, slot, rows[slot], condition=condition)
        blocks = [block for session in held for block in session.values()]
        practice = [t for block in blocks for t in _practice(block, protocol.sitting.practice_trials, rng)]
        counted = [(False, trial) for block in blocks for trial in block]
        yield joint_trials.spread(protocol, slot, practice + counted, draws=draws)


def _as_dealt(protocol: Protocol, manifest: Manifest) -> tuple[Protocol, Manifest]:
    """What the deal itself asks, and of which stimuli: late stages are dealt by themselves."""
    if not protocol.stages:
        return protocol, manifest
    return protocol.of_stage(FIRST), late_sounds.without(protocol, manifest)


def _dealt(
    protocol: Protocol, manifest: Manifest, n_slots: int, draws: Draws
) -> dict[str, list[list[Trial]]]:
    """The trials of every slot by attribute, in no order yet."""
    return {
        name: forms.of_attribute(protocol, manifest, name, n_slots, draws=draws)
        for name in joint_trials.leaders(protocol)
    }


def cells(protocol: Protocol, manifest: Manifest, n_slots: int, draws: Draws) -> list[tuple[int, ...]]:
    """Where each slot stands in each balanced property: lead, order of attributes, part of the pairs; and
    the order of the parts over sessions."""
    protocol, manifest = _as_dealt(protocol, manifest)
    periods = {2, len(williams.square(len(joint_trials.leaders(protocol)))), joint_trials.period(protocol)}
    for block in protocol.blocks:
        if tasks.named(protocol.attribute(block.attribute).task).family == "choice":
            periods.add(comparison.period(block, len(strikes(manifest, block.presentation))))
    made = [tuple(slot % period for period in sorted(periods - {1})) for slot in range(n_slots)]
    if not session_parts.is_ordered(protocol):
        return made
    rows = session_parts.orders(protocol, n_slots, draws)
    return [(*cell, row) for cell, row in zip(made, rows, strict=True)]


def _practice(trials: list[Trial], n_practice: int, rng: np.random.Generator) -> Ordered:
    compared = [trial for trial in trials if not trial.is_control]
    drawn = rng.choice(len(compared), size=min(n_practice, len(compared)), replace=False)
    return [(True, compared[i]) for i in drawn]


class _Squares:
    """One shuffled Williams square for each number of sounds, the same for every slot."""

    def __init__(self, draws: Draws) -> None:
        self.draws = draws
        self.known: dict[int, npt.NDArray[np.int64]] = {}

    def of(self, k: int) -> npt.NDArray[np.int64]:
        if k not in self.known:
            self.known[k] = williams.shuffled_square(k, self.draws.of("square", k))
        return self.known[k]


def _in_order(
    trials: list[Trial], slot: int, squares: _Squares, rng: np.random.Generator, carry: CarryOver
) -> Ordered:
    """Single sounds by a Williams square, everything else shuffled."""
    groups = {trial.group for trial in trials}
    if len(groups) > 1 and all(len(trial.sounds) == 1 for trial in trials):
        return [(False, trial) for trial in order.by_williams(trials, squares.of(len(groups)), slot)]
    return _counted(trials, rng, carry)


def _counted(trials: list[Trial], rng: np.random.Generator, carry: CarryOver) -> Ordered:
    return [(False, trial) for trial in order.shuffled(trials, rng, carry)]
