"""Triple stimulus with hidden reference: each object beside the reference, named once and hidden once.

Source: ITU-R BS.1116-3, clause 3 (double-blind triple-stimulus with hidden reference).
"""

from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.draws import Draws
from listening.design.whole_set import check_reference
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot: every condition but the reference, `repeats` times.

    The hidden reference stands first and second equally often, and each object has a copy of it of its own:
    a code that came with every object would tell which sound is the reference.

    Raises
    ------
    StudyError
        The block names no reference, or an unknown one.
    """
    sounds = strikes(manifest, block.presentation)
    check_reference(block, list(sounds))
    where = f"{block.attribute}, {block.presentation}"
    rng = draws.of("places", block.attribute, block.presentation)
    of_reference = sounds[str(block.reference)]
    objects = [name for name in sounds if name != block.reference]
    starts = rng.integers(2, size=len(objects))
    made: list[list[Trial]] = [[] for _ in range(n_slots)]
    for slot, trials in enumerate(made):
        for at, name in enumerate(objects):
            for repeat in range(block.repeats):
                number = slot * block.repeats + repeat
                strike = number // 2  # both places for a strike before the next one
                reference = of_reference[strike % len(of_reference)].stimulus
                pair = (
                    Heard(sounds[name][strike % len(sounds[name])].stimulus),
                    Heard(reference, copy=1 + at),
                )
                placed = pair if (number + starts[at]) % 2 == 0 else pair[::-1]
                group = f"{where}: {name}"
                trials.append(
                    Trial(block.attribute, placed, group=group, block=where, reference=Heard(reference))
                )
    return made
