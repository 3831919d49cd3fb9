"""What is known to cause an effect: the one property in which two isolated stimuli differ."""

from listening.records.findings import QuestionFinding
from listening.records.protocol import ISOLATED

PROPERTY = {
    **dict.fromkeys(("dull", "bright"), "brightness"),
    **dict.fromkeys(("short", "long"), "how long they ring"),
    **dict.fromkeys(("soft", "loud"), "level"),
}


def of(q: QuestionFinding) -> str:
    """The one property that was moved between the two; empty where several were, or recordings differ."""
    if q.presentation != ISOLATED:
        return ""
    sides = zip(q.more.split("/"), q.than.split("/"), strict=False)
    moved = [PROPERTY[one] for one, other in sides if one != other and one in PROPERTY]
    return moved[0] if len(moved) == 1 else ""


def after(q: QuestionFinding) -> str:
    """What a sentence on a supported question adds, with its space before; else nothing."""
    moved = of(q)
    if not moved or q.word != "supported":
        return ""
    alone = f" The two differ in {moved} alone"
    return f"{alone}, so that this is the cause." if q.kind == "more" else f"{alone}."
