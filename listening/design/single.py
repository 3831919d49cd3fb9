"""Rating of single sounds: every condition is heard alone, its strikes taking turns."""

from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.draws import Draws
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot, not yet in order: each condition `repeats` times."""
    rng = draws.of("turns", block.attribute, block.presentation)
    where = f"{block.attribute}, {block.presentation}"
    made: list[list[Trial]] = [[] for _ in range(n_slots)]
    for condition, sounds in strikes(manifest, block.presentation).items():
        turn = rng.permutation(len(sounds))
        for slot, trials in enumerate(made):
            for repeat in range(block.repeats):
                sound = sounds[turn[(slot * block.repeats + repeat) % len(sounds)]]
                group = f"{where}: {condition}"
                trials.append(Trial(block.attribute, (Heard(sound.stimulus),), group=group, block=where))
    return made
