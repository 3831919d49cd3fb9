"""What may be printed of a question on ratings: points of the scale, never a share of choices."""

from listening.records.findings import Findings, QuestionFinding
from listening.report.rounding import number, signed
from listening.report.sentences import wording
from listening.report.sentences.wording import name, where


def points(q: QuestionFinding) -> str:
    """`1.3 points higher on average (limits 0.7 to 1.9; scale 1 to 5)`."""
    if q.points is None:
        return ""
    way = "lower" if q.points.value < 0 else "higher"
    limits = f"limits {signed(q.points.lower, 1)} to {signed(q.points.upper, 1)}"
    return f"{number(abs(q.points.value), 1)} points {way} on average ({limits}; {scale(q)})"


def scale(q: QuestionFinding) -> str:
    """The scale with its ends."""
    ends = f", “{q.scale[0]}” to “{q.scale[-1]}”" if q.scale else ""
    if q.task == "comparison category":
        return f"scale −3 to +3{ends}"
    return f"scale {'0 to 100' if q.task == 'continuous rating' else f'1 to {len(q.scale)}'}{ends}"


def sentence(q: QuestionFinding, found: Findings) -> str:
    """The one sentence that the question bears; where it bears no claim, the sentence says that."""
    more, than, played = name(q, q.more_label), name(q, q.than_label), where(q.presentation, found)
    rated = f"{q.n_listeners} listeners rated {more} {points(q)}" if q.points is not None else ""
    if q.word == "supported" and q.kind == "same":
        return f"{played}, {more} and {than} are heard as the same in {q.attribute}, {bound(q)}: {rated}."
    if q.word == "supported":
        beyond = ", beyond being louder" if q.beyond_level else ""
        return f"{played}, {wording.is_heard(more, q.comparative, than)}{beyond}: {rated}."
    if q.word == "contradicted" and q.kind == "same":
        return (
            f"{played}, {more} and {than} are not heard as the same in {q.attribute} ({bound(q)}): {rated}."
        )
    if q.word == "contradicted":
        denied = wording.is_heard(more, q.comparative, than, no=True)
        return f"{played}, {denied} by as much as was planned to matter ({matters(q)}): {rated}."
    if q.word == "no verdict":
        few = f"{q.n_listeners} listeners are too few for a verdict"
        return f"No claim: {q.reason if 'look' in q.reason else few}."
    claim = (
        f"{more} and {than} are heard as the same in {q.attribute}"
        if q.kind == "same"
        else wording.is_heard(more, q.comparative, than)
    )
    return f"No claim: the test leaves open whether {claim}{f': {rated}' if rated else ''}."


def bound(q: QuestionFinding) -> str:
    """What `the same` allows."""
    return f"within the bound planned (less than {q.smallest_effect:g} points apart)"


def matters(q: QuestionFinding) -> str:
    """The smallest effect that matters."""
    return f"{q.smallest_effect:g} points"
