"""Whether the parts of a protocol name each other rightly; on raw tables, so that all faults show at once."""

from collections import Counter
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Any

from listening.records.forms.problem import Fault, KeyPath
from listening.records.kinds import question_kinds, tasks
from listening.records.protocols import sessions, stages, together


def faults(raw: dict[str, Any]) -> list[Fault]:
    """Every name in a protocol's tables that is used twice, or used and never given."""
    attributes = _column(raw, "attributes", "name")
    presentations = _column(raw, "presentations", "name")
    found = [f for what, key in _UNIQUE for f in _twice(what, key, _column(raw, what, key))]
    for what in ("blocks", "controls", "questions", "superlatives"):
        for i, row in _rows(raw, what):
            found += _unknown((what, i, "attribute"), row, attributes)
            found += _unknown((what, i, "presentation"), row, presentations)
    return [
        *found,
        *_never_asked(raw),
        *_never_decided(raw),
        *_mixed_families(raw),
        *_ratios(raw),
        *together.faults(raw),
        *sessions.faults(raw),
        *stages.faults(raw),
    ]


_UNIQUE = (("attributes", "name"), ("presentations", "name"), ("questions", "id"), ("superlatives", "id"))


def suggestion(word: str, known: list[str]) -> str:
    """`; did you mean X?` when a known word is close, else nothing."""
    close = get_close_matches(word, known, n=1)
    return f"; did you mean `{close[0]}`?" if close else ""


def _rows(raw: dict[str, Any], what: str) -> Iterator[tuple[int, dict[str, Any]]]:
    rows = raw.get(what)
    for i, row in enumerate(rows if isinstance(rows, list) else []):
        if isinstance(row, dict):
            yield i, row | {key: _as_text(row[key]) for key in _NAMES & row.keys()}


_NAMES = {"id", "name", "attribute", "presentation", "kind", "unit", "task", "family", "metric"}


def _as_text(value: Any) -> Any:
    """A value that no name can be, in words: its own fault is the form's to tell."""
    return value if value is None or isinstance(value, str) else repr(value)[:60]


def _column(raw: dict[str, Any], what: str, key: str) -> list[str]:
    return [str(row[key]) for _, row in _rows(raw, what) if key in row]


def _twice(what: str, key: str, names: list[str]) -> Iterator[Fault]:
    for name, count in Counter(names).items():
        if count > 1:
            last = len(names) - 1 - names[::-1].index(name)
            yield Fault((what, last, key), f"`{name}` {count} times", "each name once")


def _unknown(path: KeyPath, row: dict[str, Any], known: list[str]) -> list[Fault]:
    name = row.get(str(path[-1]))
    if not isinstance(name, str) or not known or name in known:
        return []
    return [Fault(path, f"`{name}`", f"one of {', '.join(known)}{suggestion(name, known)}")]


def _never_asked(raw: dict[str, Any]) -> Iterator[Fault]:
    asked = {(row.get("attribute"), row.get("presentation")) for _, row in _rows(raw, "blocks")}
    for what in ("questions", "superlatives"):
        for i, row in _rows(raw, what):
            wanted = (row.get("attribute"), row.get("presentation"))
            if None not in wanted and wanted not in asked:
                yield Fault(
                    (what, i),
                    f"no block that asks `{wanted[0]}` of `{wanted[1]}` stimuli",
                    f"such a block, or the {what.removesuffix('s')} dropped",
                )


COMPARISON = tasks.PAIRED_COMPARISON.name
DISCRIMINATION = tasks.names(decides="heard at all")
RATED = tasks.names(decides="points of the scale")


def _never_decided(raw: dict[str, Any]) -> Iterator[Fault]:
    """Questions on tasks that decide none, and comparisons that no question waits for."""
    task_of = {row.get("name"): row.get("task", COMPARISON) for _, row in _rows(raw, "attributes")}
    questions = list(_rows(raw, "questions"))
    if COMPARISON in task_of.values() and not questions:
        yield Fault(("questions",), "none", "at least one planned question")
    for i, row in questions:
        task = task_of.get(row.get("attribute"), COMPARISON)
        deciding = [t.name for t in tasks.ALL if t.decides in _kind(row).decided_from]
        if task not in deciding:
            yield Fault(
                ("questions", i, "attribute"),
                f"`{row.get('attribute')}`, asked as {task}",
                f"an attribute asked as {' or '.join(deciding)}: only that decides a question of kind "
                f"`{row.get('kind')}`",
            )
        elif (task in RATED) != (row.get("unit") == "points"):
            wanted = (
                '"points": a rating is decided in points of its scale'
                if task in RATED
                else "a share of choices"
            )
            yield Fault(("questions", i, "unit"), f"`{row.get('unit', 'share')}`, asked as {task}", wanted)


def _kind(question: dict[str, Any]) -> question_kinds.QuestionKind:
    """The kind as written; of a name that the form refuses, the first."""
    return next((k for k in question_kinds.ALL if k.name == question.get("kind")), question_kinds.ALL[0])


def _mixed_families(raw: dict[str, Any]) -> Iterator[Fault]:
    questions = list(_rows(raw, "questions"))
    for i, row in questions:
        if not row.get("family"):
            continue
        kinds = {_sort(r) for _, r in questions if r.get("family") == row["family"]}
        if len(kinds) > 1 and _sort(row) != COMPARISON:
            wanted = f"a family of {_sort(row)} questions alone: they are corrected by steps of their own"
            yield Fault(("questions", i, "family"), f"`{row['family']}`, shared with other kinds", wanted)


def _sort(question: dict[str, Any]) -> str:
    if _kind(question).by_right_answers:
        return f"`{question['kind']}`"
    return "rating" if question.get("unit") == "points" else COMPARISON


def _ratios(raw: dict[str, Any]) -> Iterator[Fault]:
    """Ratios claimed of a value that the presentation holds equal, or of sounds that nobody recorded."""
    metrics = {row.get("name"): row.get("metric") for _, row in _rows(raw, "presentations")}
    for i, row in _rows(raw, "questions"):
        held = metrics.get(row.get("presentation"))
        if row.get("claimed_ratio") is not None and row.get("presentation") == "isolated":
            wanted = "`matched` or `as recorded`: a ratio is measured on the recordings of both conditions"
            yield Fault(("questions", i, "presentation"), "`isolated`, with a claimed ratio", wanted)
        if row.get("metric") is not None and row.get("metric") == held:
            yield Fault(
                ("questions", i, "metric"),
                f"`{held}`, which the presentation `{row.get('presentation')}` holds equal",
                'presentation = "as recorded", or another metric',
            )
