"""Paired comparison: the trials that a block gives to each slot."""

from dataclasses import dataclass

import numpy as np

from listening.design import incomplete_blocks, leads, parts
from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.decompositions import Pairs
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest, Stimulus


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot, not yet in order.

    Each pair of a slot is heard `repeats` times, a planned one `planned_repeats` times where the block says
    so. Which comes first alternates over the hearings of a pair, from a start that is even within each slot;
    the strikes of the two conditions go through all combinations.

    Raises
    ------
    StudyError
        The block has nothing to compare, or its part of all pairs does not exist.
    """
    sounds = strikes(manifest, block.presentation)
    names = list(sounds)
    if len(names) < 2:
        raise StudyError(
            f"block `{block.attribute}` of `{block.presentation}`: {len(names)} conditions, wanted at least 2"
        )
    rng = draws.of("pairs", block.attribute, block.presentation)
    dealt = slot_pairs(protocol, block, names, n_slots, rng)
    planned = often(protocol, block, names)
    turns = _Turns(len(names), rng)
    return [
        [
            _trial(block, names, sounds, hearing)
            for repeats in dict.fromkeys(n for n, _ in by_repeats(pairs, block, planned))
            for hearing in turns.slot(
                [p for n, p in by_repeats(pairs, block, planned) if n == repeats], repeats
            )
        ]
        for pairs in dealt
    ]


def often(protocol: Protocol, block: Block, names: list[str]) -> set[frozenset[int]]:
    """The pairs that a listener hears `planned_repeats` times."""
    if block.planned_repeats is None:
        return set()
    own = block.model_copy(update={"of_all_questions": False})
    return {frozenset(pair) for pair in planned_pairs(protocol, own, names)}


def by_repeats(pairs: Pairs, block: Block, planned: set[frozenset[int]]) -> list[tuple[int, tuple[int, int]]]:
    """How often each pair of one slot is heard, with the pair."""
    return [
        ((block.planned_repeats or 0) if frozenset(pair) in planned else block.repeats, pair)
        for pair in pairs
    ]


def period(block: Block, k: int) -> int:
    """After how many slots a block of k conditions gives the same part of its pairs again."""
    if block.pairs == "rotating":
        return parts.period(k, block.partners or 2)
    if block.pairs == "blocks":
        return len(incomplete_blocks.blocks(k, block.block_size or k))
    return 1


def slot_pairs(
    protocol: Protocol, block: Block, names: list[str], n_slots: int, rng: np.random.Generator
) -> list[Pairs]:
    """The pairs of conditions, as numbers into `names`, that a block gives to each slot.

    A pair (a, b) proposes that a leads at the first hearing.
    """
    k = len(names)
    if block.pairs == "rotating":
        made = parts.rotating(k, block.partners or 2, n_slots, rng)
    elif block.pairs == "cyclic":
        made = [parts.same_for_all(k, block.partners or 2, rng)] * n_slots
    elif block.pairs == "blocks":
        made = parts.of_blocks(k, block.block_size or k, n_slots, rng)
    elif block.pairs == "planned":
        return [[_either(pair, rng) for pair in planned_pairs(protocol, block, names)]] * n_slots
    else:
        return [parts.all_pairs(k, rng)] * n_slots
    if block.planned_too:
        always = [_either(pair, rng) for pair in planned_pairs(protocol, block, names)]
        known = {frozenset(pair) for pair in always}
        made = [always + [pair for pair in pairs if frozenset(pair) not in known] for pairs in made]
    return made


def _either(pair: tuple[int, int], rng: np.random.Generator) -> tuple[int, int]:
    return pair if rng.integers(2) else pair[::-1]


def planned_pairs(protocol: Protocol, block: Block, names: list[str]) -> Pairs:
    """The pairs of conditions that the questions of a block compare, or all questions of its presentation."""
    asked = protocol.together_with(block.attribute)
    planned = [
        (names.index(more), names.index(than))
        for q in protocol.questions
        for more, than in q.contrast.pairs
        if q.presentation == block.presentation and (block.of_all_questions or q.attribute in asked)
    ]
    if not planned:
        raise StudyError(
            f"block `{block.attribute}` of `{block.presentation}` asks for planned pairs, but no question "
            'plans one: add a question, or write pairs = "all"'
        )
    return list(dict.fromkeys((min(pair), max(pair)) for pair in planned))


@dataclass(frozen=True)
class Hearing:
    """One hearing of a pair of conditions."""

    pair: tuple[int, int]
    number: int
    """How often the pair was heard before, over all slots."""
    start: int
    """Where its strikes begin to take turns."""
    first_leads: bool


class _Turns:
    """How often each pair was heard so far, and which of its two led last."""

    def __init__(self, k: int, rng: np.random.Generator) -> None:
        self.k, self.rng = k, rng
        self.heard: dict[tuple[int, int], int] = {}
        self.lead: dict[tuple[int, int], bool] = {}
        self.start: dict[tuple[int, int], int] = {}

    def slot(self, proposed: Pairs, repeats: int) -> list[Hearing]:
        """The hearings of one slot; the first-named of each proposed pair leads where nothing is owed."""
        pairs = [(min(pair), max(pair)) for pair in proposed]
        for pair, proposal in zip(pairs, proposed, strict=True):
            if pair not in self.heard:
                self.heard[pair], self.lead[pair] = 0, pair != proposal
                self.start[pair] = int(self.rng.integers(1000))
        opening = [not self.lead[p] for p in pairs]
        if repeats % 2:  # an even number of hearings is even within the slot as it stands
            owed = [self.heard[p] % 2 == 1 for p in pairs]
            opening = leads.choose(pairs, opening, owed, self.k)
        made = []
        for pair, lead in zip(pairs, opening, strict=True):
            for repeat in range(repeats):
                first_leads = lead if repeat % 2 == 0 else not lead
                made.append(Hearing(pair, self.heard[pair], self.start[pair], first_leads))
                self.heard[pair] += 1
            self.lead[pair] = lead
        return made


def _trial(block: Block, names: list[str], sounds: dict[str, list[Stimulus]], hearing: Hearing) -> Trial:
    left_name, right_name = (names[c] for c in hearing.pair)
    one, two = sounds[left_name], sounds[right_name]
    i, j = strike_turn(hearing.number, hearing.start, len(one), len(two))
    left, right = Heard(one[i].stimulus), Heard(two[j].stimulus)
    order = (left, right) if hearing.first_leads else (right, left)
    where = f"{block.attribute}, {block.presentation}"
    return Trial(block.attribute, order, group=f"{where}: {left_name} {right_name}", block=where)


def strike_turn(number: int, start: int, n_one: int, n_two: int) -> tuple[int, int]:
    """Which strike of each condition the hearing of that number plays.

    n_one * n_two hearings in a row, from number 0, go through every combination; twice as many, with the lead
    alternating, go through every combination in both orders.
    """
    every = n_one * n_two
    turn = (number + start + (0 if every % 2 else number // every)) % every
    i = turn % n_one
    return i, (i + turn // n_one) % n_two
