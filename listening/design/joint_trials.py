"""Attributes asked about the same pair: one trial becomes one for each of them, in the slot's order."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from listening.design import williams
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.records.protocols.protocol import Protocol


def leaders(protocol: Protocol) -> list[str]:
    """The attributes asked, one for each group that is asked together, in the order of the blocks."""
    asked = list(dict.fromkeys(block.attribute for block in protocol.blocks))
    behind = protocol.sitting.together[1:]
    return [name for name in asked if name not in behind]


def order(protocol: Protocol, slot: int, *, draws: Draws) -> list[str]:
    """The order in which one slot is asked the attributes that go together."""
    names = protocol.sitting.together
    if protocol.sitting.together_order == "fixed" or not names:
        return list(names)
    rows = square(protocol, draws)
    return [names[i] for i in rows[slot % len(rows)]]


def square(protocol: Protocol, draws: Draws) -> npt.NDArray[np.int64]:
    """The Williams square whose rows the slots go through."""
    return williams.shuffled_square(len(protocol.sitting.together), draws.of("together"))


def period(protocol: Protocol) -> int:
    """After how many slots the same order comes again."""
    is_balanced = protocol.sitting.together and protocol.sitting.together_order == "balanced"
    return len(williams.square(len(protocol.sitting.together))) if is_balanced else 1


def spread(protocol: Protocol, slot: int, ordered: Ordered, *, draws: Draws) -> Ordered:
    """The trials of a slot with one trial for each attribute that is asked about the same pair."""
    names = order(protocol, slot, draws=draws)
    made: Ordered = []
    for practice, trial in ordered:
        if trial.attribute in names:
            made += [(practice, _asked(trial, name, follows=i > 0)) for i, name in enumerate(names)]
        else:
            made.append((practice, trial))
    return made


def _asked(trial: Trial, name: str, *, follows: bool) -> Trial:
    group, block = (_renamed(text, trial.attribute, name) for text in (trial.group, trial.block))
    return replace(trial, attribute=name, group=group, block=block, follows=follows)


def _renamed(text: str, attribute: str, name: str) -> str:
    return name + text.removeprefix(attribute) if text.startswith(f"{attribute},") else text
