"""What came with a late stage: known by its name, and not heard by those who sat before."""

from collections.abc import Iterable

from listening.records.protocols.protocol import Protocol
from listening.records.protocols.stages import FIRST
from listening.records.sounds.manifest import Manifest


def without(protocol: Protocol, manifest: Manifest) -> Manifest:
    """The stimuli of the deal itself: a factor's value that only questions of late stages name came late.

    Parameters
    ----------
    protocol : with its stages; without any the manifest is given back
    """
    if not protocol.stages:
        return manifest
    first = protocol.of_stage(FIRST)
    references = [b.reference for b in first.blocks if b.reference]
    asked = [c for q in first.questions for c in q.contrast.conditions]
    known = _values([*asked, *references, *(s.condition for s in first.superlatives)])
    late = _values(c for q in protocol.questions if q.stage != FIRST for c in q.contrast.conditions) - known
    kept = tuple(s for s in manifest.stimuli if not late & set(s.condition.split("/")))
    return manifest.model_copy(update={"stimuli": kept})


def _values(conditions: Iterable[str]) -> set[str]:
    return {value for name in conditions for value in name.split("/")}
