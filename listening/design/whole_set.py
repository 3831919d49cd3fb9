"""Multiple-stimulus rating: all conditions at once, with a known and a hidden reference and hidden anchors.

Source: ITU-R BS.1534 for the hidden reference among the stimuli; the anchors are the attribute's own.
"""

from listening.design import williams
from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Block
from listening.records.sounds.manifest import Manifest

MOST_AT_ONCE = 12  # one line a sound on a small screen; BS.1534 advises no more


def of_slots(
    protocol: Protocol, manifest: Manifest, block: Block, n_slots: int, *, draws: Draws
) -> list[list[Trial]]:
    """The trials of one block for each slot: all strikes of that number together.

    Positions follow a Williams square: every sound stands in every place equally often, and equally often
    right after every other one, once the trials of all slots fill the square.

    Raises
    ------
    StudyError
        The block names no reference, an unknown one, or too many sounds for one screen.
    """
    sounds = strikes(manifest, block.presentation)
    _check(block, list(sounds))
    anchors = [
        Heard(s.stimulus, copy=1)
        for s in manifest.stimuli
        if s.role == "example" and s.attribute == block.attribute
    ]
    where = f"{block.attribute}, {block.presentation}"
    rng = draws.of("places", block.attribute, block.presentation)
    places = williams.shuffled_square(len(sounds) + len(anchors), rng)
    made: list[list[Trial]] = []
    for slot in range(n_slots):
        trials = []
        for repeat in range(block.repeats):
            number = slot * block.repeats + repeat
            shown = {name: Heard(s[number % len(s)].stimulus) for name, s in sounds.items()}
            reference = shown[str(block.reference)]
            hidden = [*shown.values(), *anchors]
            hidden[hidden.index(reference)] = Heard(reference.stimulus, copy=1)
            placed = tuple(hidden[i] for i in places[number % len(places)])
            group = f"{where}: {repeat}"
            trials.append(Trial(block.attribute, placed, group=group, block=where, reference=reference))
        made.append(trials)
    return made


def check_reference(block: Block, names: list[str]) -> None:
    """Refuse a block whose reference is no condition of its set.

    Raises
    ------
    StudyError
        The block names no reference, or an unknown one.
    """
    if block.reference not in names:
        raise StudyError(
            f"block `{block.attribute}` of `{block.presentation}`: reference is {block.reference!r}, "
            f"wanted one of the conditions: {', '.join(names)}"
        )


def _check(block: Block, names: list[str]) -> None:
    check_reference(block, names)
    for role, name in (("low_anchor", block.low_anchor), ("mid_anchor", block.mid_anchor)):
        if name is not None and (name not in names or name == block.reference):
            raise StudyError(
                f"block `{block.attribute}` of `{block.presentation}`: {role} is {name!r}, wanted a "
                f"condition other than the reference: {', '.join(n for n in names if n != block.reference)}"
            )
    where = f"block `{block.attribute}` of `{block.presentation}`"
    if len(names) + 2 > MOST_AT_ONCE:
        raise StudyError(
            f"{where}: {len(names)} conditions and two anchors are more than {MOST_AT_ONCE} at once; "
            "keep fewer with recordings.use"
        )
