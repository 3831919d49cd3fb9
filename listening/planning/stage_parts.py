"""A study with late stages taken apart: each stage as a protocol of its own, with the stimuli it hears."""

from dataclasses import dataclass

from listening.design import late_sounds
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest


@dataclass(frozen=True)
class StagePart:
    """One stage."""

    number: int
    protocol: Protocol
    """What the stage asks, without stages."""
    manifest: Manifest


def of_study(protocol: Protocol, manifest: Manifest) -> list[StagePart]:
    """Every stage, the first in front; late ones have no looks, and end when all their listeners came.

    What came late is known by its name: a value of a factor that only questions of late stages name was not
    there before, so the first stage does not hear it.
    """
    if not protocol.stages:
        return [StagePart(FIRST, protocol, manifest)]
    whole: dict[str, object] = {"looks": [], "spending": "none", "fewest": None}
    late = protocol.model_copy(update={"stopping": protocol.stopping.model_copy(update=whole)})
    first = StagePart(FIRST, protocol.of_stage(FIRST), late_sounds.without(protocol, manifest))
    others = [StagePart(one.stage, _as_first(late.of_stage(one.stage)), manifest) for one in protocol.stages]
    return [first, *others]


def _as_first(own: Protocol) -> Protocol:
    """A late stage as a study of its own: its rows belong to its first stage."""
    tables = ("blocks", "controls", "questions")
    return own.model_copy(
        update={
            name: [row.model_copy(update={"stage": FIRST}) for row in getattr(own, name)] for name in tables
        }
    )
