"""What a finding repeats of its planned question, whatever the task that decides it."""

from listening.records.protocols.contrasts import Contrast
from listening.records.protocols.protocol import AS_RECORDED, Protocol, Question


def of_question(asked: Question, protocol: Protocol) -> dict[str, object]:
    """The fields of a `QuestionFinding` that stand before any answer."""
    attribute = protocol.attribute(asked.attribute)
    return {
        "id": asked.id,
        "kind": asked.kind,
        "attribute": asked.attribute,
        "comparative": attribute.comparative,
        "wording": attribute.wording,
        "presentation": asked.presentation,
        "beyond_level": asked.presentation != AS_RECORDED and not attribute.about_level,
        "about_level": attribute.about_level,
        "more": asked.contrast.more,
        "more_label": protocol.label(asked.contrast.more),
        "than": asked.contrast.than,
        "than_label": protocol.label(asked.contrast.than),
        "among": asked.among.label if asked.among else "",
        "stage": asked.stage,
        **_several(asked.contrast, protocol),
        "smallest_effect": asked.smallest_effect,
        "unit": asked.unit,
        "alpha": asked.alpha,
        "family": asked.family,
        "family_size": sum(q.family == asked.family for q in protocol.questions) if asked.family else 1,
        "split_limit": asked.outside_limit,
    }


def _several(contrast: Contrast, protocol: Protocol) -> dict[str, object]:
    """What a contrast of several pairs adds; nothing for one pair."""
    if contrast.form == "pair":
        return {}
    named = contrast.over
    if contrast.form == "trend":
        named = [contrast.than, *contrast.through, contrast.more]
    other = contrast.exceeds
    return {
        "contrast": contrast.form,
        "conditions": contrast.conditions,
        "over": tuple(protocol.label(one) for one in named),
        "exceeds": (protocol.label(other.more), protocol.label(other.than)) if other else (),
    }
