"""What one listener hears: the trials of a slot before they are put in order."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from listening.errors import StudyError
from listening.records.manifest import Manifest, Stimulus
from listening.records.protocol import Block, Control, Protocol


@dataclass(frozen=True)
class Heard:
    """One clip to be heard: a stimulus, and a known gain beyond its own level."""

    stimulus: str
    gain_db: float = 0.0


@dataclass(frozen=True)
class Pair:
    """One trial: two clips in the order they sound."""

    attribute: str
    first: Heard
    second: Heard
    group: str
    """What it repeats: equal for trials of the same pair of conditions, presentation and attribute."""
    is_control: bool = False


def strikes(manifest: Manifest, presentation: str) -> dict[str, list[Stimulus]]:
    """The study stimuli of each condition under one presentation, in manifest order."""
    found: dict[str, list[Stimulus]] = {}
    for stimulus in manifest.stimuli:
        if stimulus.role == "study" and stimulus.presentation == presentation:
            found.setdefault(stimulus.condition, []).append(stimulus)
    return found


def condition_pairs(protocol: Protocol, block: Block, conditions: list[str]) -> list[tuple[str, str]]:
    """The unordered pairs of conditions that a block compares."""
    if block.pairs == "all":
        return list(combinations(conditions, 2))
    planned = [
        (min(q.contrast.more, q.contrast.than), max(q.contrast.more, q.contrast.than))
        for q in protocol.questions
        if q.attribute == block.attribute and q.presentation == block.presentation
    ]
    if not planned:
        raise StudyError(
            f"block `{block.attribute}` of `{block.presentation}` asks for planned pairs, but no question "
            'plans one: add a question, or write pairs = "all"'
        )
    return list(dict.fromkeys(planned))


def of_block(protocol: Protocol, manifest: Manifest, block: Block, slot: int) -> list[Pair]:
    """The trials that one block gives to one slot.

    Each pair of conditions is heard `repeats` times. Which comes first alternates over the repeats and over
    the slots, from a start drawn for each pair; the strikes of the two conditions go through all their
    combinations over repeats and slots.
    """
    sounds = strikes(manifest, block.presentation)
    pairs = condition_pairs(protocol, block, list(sounds))
    starts = _starts(protocol.seed, block, len(pairs))
    return [
        _hearing(block, pair, sounds, slot * block.repeats + repeat, start)
        for pair, start in zip(pairs, starts, strict=True)
        for repeat in range(block.repeats)
    ]


def of_control(protocol: Protocol, manifest: Manifest, control: Control, slot: int) -> list[Pair]:
    """The control pairs of one slot: a stimulus against itself, one of them weaker by a known gain."""
    presentation = _control_presentation(protocol, control)
    sounds = strikes(manifest, presentation)
    used = [s.stimulus for name in (control.conditions or list(sounds)) for s in sounds[name]]
    made = []
    for g, gain_db in enumerate(control.gains_db):
        rng = np.random.default_rng(np.random.SeedSequence([protocol.seed, 2, *_text(control.attribute), g]))
        turn, flip = rng.permutation(len(used)), int(rng.integers(2))
        for repeat in range(control.repeats):
            hearing = slot * control.repeats + repeat
            strong = Heard(used[turn[hearing % len(used)]])
            weak = Heard(strong.stimulus, -gain_db)
            order = (strong, weak) if (hearing + flip) % 2 == 0 else (weak, strong)
            made.append(Pair(control.attribute, *order, group=f"control {gain_db}", is_control=True))
    return made


def _control_presentation(protocol: Protocol, control: Control) -> str:
    shown = [b.presentation for b in protocol.blocks if b.attribute == control.attribute]
    if not shown:
        raise StudyError(
            f"controls for `{control.attribute}`: no block asks it; add a block or drop the controls"
        )
    return next((name for name in shown if name != "as recorded"), shown[0])


def _starts(seed: int, block: Block, n_pairs: int) -> list[tuple[int, int]]:
    place = [seed, 1, *_text(block.attribute), *_text(block.presentation)]
    rng = np.random.default_rng(np.random.SeedSequence(place))
    return [(int(rng.integers(2)), int(rng.integers(1000))) for _ in range(n_pairs)]


def _text(name: str) -> tuple[int, ...]:
    return tuple(name.encode())


def _hearing(
    block: Block,
    pair: tuple[str, str],
    sounds: dict[str, list[Stimulus]],
    hearing: int,
    start: tuple[int, int],
) -> Pair:
    one, two = sounds[pair[0]], sounds[pair[1]]
    turn = hearing + start[1]
    left = Heard(one[turn % len(one)].stimulus)
    right = Heard(two[(turn + turn // len(one)) % len(two)].stimulus)
    order = (left, right) if (hearing + start[0]) % 2 == 0 else (right, left)
    return Pair(block.attribute, *order, group=f"{block.presentation} {pair[0]} {pair[1]}")
