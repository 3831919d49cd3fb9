"""Control pairs: a stimulus against itself, one of the two weaker by a known gain."""

from listening.design.dealt_trial import Heard, Trial, strikes
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.protocol_parts import Control
from listening.records.sounds.manifest import Manifest


def of_slot(
    protocol: Protocol, manifest: Manifest, control: Control, slot: int, *, draws: Draws
) -> list[Trial]:
    """The control pairs of one slot: the stimuli take turns, the stronger one's place alternates."""
    sounds = strikes(manifest, _presentation(protocol, control))
    used = [s.stimulus for name in (control.conditions or list(sounds)) for s in sounds[name]]
    made = []
    for g, gain_db in enumerate(control.gains_db):
        rng = draws.of("controls", control.attribute, g)
        turn, flip = rng.permutation(len(used)), int(rng.integers(2))
        for repeat in range(control.repeats):
            hearing = slot * control.repeats + repeat
            strong = Heard(used[turn[hearing % len(used)]])
            weak = Heard(strong.stimulus, -gain_db)
            # an even number of stimuli would tie each one to one place: shift after each round
            place = hearing + flip + (0 if len(used) % 2 else hearing // len(used))
            order = (strong, weak) if place % 2 == 0 else (weak, strong)
            made.append(Trial(control.attribute, order, group=f"control {gain_db}", is_control=True))
    return made


def _presentation(protocol: Protocol, control: Control) -> str:
    shown = [b.presentation for b in protocol.blocks if b.attribute == control.attribute]
    if not shown:
        raise StudyError(
            f"controls for `{control.attribute}`: no block asks it; add a block or drop the controls"
        )
    return next((name for name in shown if name != "as recorded"), shown[0])
