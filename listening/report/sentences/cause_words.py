"""Of two isolated stimuli, the one property in which they differ."""

from listening.records.found.findings_question import QuestionFinding
from listening.records.protocols.protocol import ISOLATED

PROPERTY = {
    **dict.fromkeys(("dull", "bright"), "brightness"),
    **dict.fromkeys(("short", "long"), "ringing"),
    **dict.fromkeys(("soft", "loud"), "level"),
}
RAISED = ("bright", "long", "loud")  # the ends that have more of it


def of(q: QuestionFinding) -> str:
    """The one property that was moved between the two; empty where several were, or recordings differ."""
    if q.presentation != ISOLATED:
        return ""
    moved = _moved(q)
    return PROPERTY[moved[0]] if len(moved) == 1 else ""


def is_more(q: QuestionFinding) -> bool:
    """Whether the one named first has more of the property that was moved."""
    return any(one in RAISED for one in _moved(q))


def _moved(q: QuestionFinding) -> list[str]:
    sides = zip(q.more.split("/"), q.than.split("/"), strict=False)
    return [one for one, other in sides if one != other and one in PROPERTY]
