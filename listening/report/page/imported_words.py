"""Words of a page whose answers came from a table collected elsewhere."""

from listening.records.dealt.imported import Imported
from listening.records.found.findings import Findings
from listening.records.found.findings_question import QuestionFinding
from listening.report import rounding
from listening.report.page import method_words

LEFT_OUT = ("level", "measured", "stimuli")  # a table of answers says nothing of these


def lead(found: Findings) -> str:
    """The first lines of the page."""
    table = _table(found)
    asked = len(found.questions)
    who = f"{found.panel.n_listeners} listeners" if table.listeners_known else "listeners not identified"
    held = f"{asked} question{'' if asked == 1 else 's'} put to them" if asked else "no question put to them"
    said = f" {table.collected.rstrip('.')}." if table.collected else ""
    return f"{table.n_answers} answers from a table collected elsewhere, {who}, {held}.{said}"


def footnote(q: QuestionFinding, found: Findings) -> str:
    """What stands below a sentence that rests on a table collected elsewhere."""
    table = _table(found)
    who = f"{q.n_listeners} {_training(table, found)}listeners ({found.panel.stands_for})"
    parts = [
        f"Paired comparison collected elsewhere, “{q.wording}”, "
        + (who if table.listeners_known else "listeners not identified"),
        f"chosen in {q.n_direct_more} of {q.n_direct} direct comparisons",
        "blindness, order and level rest on the word of whoever collected the answers",
    ]
    if q.share is not None:
        parts.append(f"the share and its {rounding.level(q.share.coverage)} limits are estimates")
    return "; ".join([*parts, f"table {found.digests.answers[:12]}"]) + "."


def described(q: QuestionFinding) -> str:
    """What the table says to a question: the counts and nothing more."""
    tied = f", {q.n_direct_no_difference} answered “no difference”" if q.n_direct_no_difference else ""
    return (
        f"{q.more_label} against {q.than_label}: chosen in {q.n_direct_more} of {q.n_direct} direct "
        f"comparisons{tied}."
    )


def cautions() -> list[str]:
    """What a reader must keep in mind."""
    return [
        method_words.CAUTIONS["imported"],
        "It describes these answers; other things, people and ways of playing are not in it.",
    ]


def method(found: Findings) -> list[str]:
    """Paragraphs that let another statistician redo it."""
    table = _table(found)
    said = [
        f"{table.n_rows} rows of the table {table.table} were read: {table.n_answers} answers, "
        f"{table.n_no_difference} of them “no difference”.",
        "What was heard first is known from the table."
        if table.order_known
        else "The table does not say which of the two was heard first.",
    ]
    if not table.listeners_known:
        return [" ".join(said), _pooled(table)]
    if not table.order_known or table.n_no_difference:
        clustered = (
            " The limits allow for several answers of one listener (clustered by listener, Student’s t)."
        )
        return [" ".join(said), _pooled(table) + clustered]
    return [" ".join(said), _by_listener()]


def deviations(found: Findings) -> list[str]:
    """What stands where a study of its own lists its departures from the plan."""
    return [
        "There is no frozen plan to hold the study against: the questions were stated together with the "
        "table, and nobody can see from it whether that was before the answers.",
        *method_words.winners(found),
        "Strengths and shares are descriptions.",
    ]


def _pooled(table: Imported) -> str:
    ties = " with a parameter for “no difference” (Davidson 1970)" if table.log_nu is not None else ""
    nu = f"; log ν = {rounding.number(table.log_nu)}" if table.log_nu is not None else ""
    return (
        f"Strengths by the Bradley-Terry model{ties}, maximum likelihood over all answers{nu}. They "
        "describe and decide nothing."
    )


def _by_listener() -> str:
    return (
        "Strengths by the same model as those of a study of one’s own, with the listeners as a sample. They "
        "describe and decide nothing."
    )


def _training(table: Imported, found: Findings) -> str:
    return f"{found.panel.training} " if table.training_known else ""


def _table(found: Findings) -> Imported:
    if found.imported is None:
        raise ValueError("these findings do not come from a table")
    return found.imported
