"""Difference tests: same-different, triangle and duo-trio, their orders taking turns over listeners.

Sources: ISO 4120 (triangle: six orders, equally often), ISO 10399 (duo-trio, balanced reference).
"""

from collections.abc import Sequence

from listening.design import comparison
from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.draws import Draws
from listening.records.kinds import tasks
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest, Stimulus


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot, not yet in order.

    Each pair of a slot is heard `repeats` times (`planned_repeats`, where a question plans it); over the
    hearings of a pair the orders of the task come equally often, in turn from a start drawn for the pair; the
    strikes of the two conditions take turns.
    """
    sounds = strikes(manifest, block.presentation)
    names = list(sounds)
    rng = draws.of("orders", block.attribute, block.presentation)
    orders = tasks.named(protocol.attribute(block.attribute).task).orders
    turn = {
        pair: (rng.permutation(len(orders)), int(rng.integers(1000)))
        for pair in ((a, b) for a in range(len(names)) for b in range(a + 1, len(names)))
    }
    heard = dict.fromkeys(turn, 0)
    made: list[list[Trial]] = []
    often = comparison.often(protocol, block, names)
    for pairs in comparison.slot_pairs(protocol, block, names, n_slots, rng):
        trials = []
        for repeats, pair in comparison.by_repeats(pairs, block, often):
            one, two = sorted(pair)
            for _ in range(repeats):
                number = heard[one, two]
                heard[one, two] += 1
                order = orders[turn[one, two][0][number % len(orders)]]
                chosen = _strikes(
                    sounds[names[one]], sounds[names[two]], number // len(orders), turn[one, two][1]
                )
                trials.append(_trial(block, order, chosen, group=f"{names[one]} {names[two]}"))
        made.append(trials)
    return made


def _strikes(one: Sequence[Stimulus], two: Sequence[Stimulus], number: int, start: int) -> tuple[str, str]:
    i, j = comparison.strike_turn(number, start, len(one), len(two))
    return one[i].stimulus, two[j].stimulus


def _trial(block: Block, order: str, stimuli: tuple[str, str], *, group: str) -> Trial:
    reference, _, shown = order.rpartition(":")
    used: list[str] = []
    heard = []
    for letter in reference + shown:
        stimulus = stimuli["AB".index(letter)]
        heard.append(Heard(stimulus, copy=used.count(letter)))
        used.append(letter)
    where = f"{block.attribute}, {block.presentation}"
    return Trial(
        block.attribute,
        tuple(heard[len(reference) :]),
        group=f"{where}: {group}",
        block=where,
        reference=heard[0] if reference else None,
    )
