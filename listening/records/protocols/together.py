"""Attributes asked about the same pair in one go: whether a protocol's blocks allow it; on raw tables."""

from collections.abc import Iterator
from typing import Any

from listening.records.forms.problem import Fault
from listening.records.kinds.tasks import PAIRED_COMPARISON

COMPARISON = PAIRED_COMPARISON.name


def faults(raw: dict[str, Any]) -> Iterator[Fault]:
    """Attributes asked together must be paired comparisons of the same sounds."""
    sitting = raw.get("sitting")
    names = sitting.get("together", []) if isinstance(sitting, dict) else []
    if not isinstance(names, list) or not names:
        return
    names = [name if isinstance(name, str) else repr(name)[:60] for name in names]
    tasks = {row.get("name"): row.get("task", COMPARISON) for row in _rows(raw, "attributes")}
    if len(names) < 2 or len(set(names)) < len(names):
        yield Fault(("sitting", "together"), f"{names}", "two attributes or more, each once")
    for i, name in enumerate(names):
        path = ("sitting", "together", i)
        if name not in tasks:
            yield Fault(path, f"`{name}`", f"one of {', '.join(map(str, tasks))}")
        elif tasks[name] != COMPARISON:
            yield Fault(path, f"`{name}`, asked as {tasks[name]}", f"an attribute asked as {COMPARISON}")
        else:
            yield from _other_sounds(raw, names[0], name, path)


def _other_sounds(raw: dict[str, Any], first: str, name: str, path: tuple[int | str, ...]) -> Iterator[Fault]:
    for what in ("blocks", "controls"):
        if _of(raw, what, name) != _of(raw, what, first):
            yield Fault(
                path,
                f"`{name}` with other {what} than `{first}`",
                f"the same {what} for both, the attribute apart: they are asked about the same pairs",
            )


def _of(raw: dict[str, Any], what: str, name: str) -> list[str]:
    rows = (row for row in _rows(raw, what) if row.get("attribute") == name)
    return sorted(repr(sorted((k, v) for k, v in row.items() if k != "attribute")) for row in rows)


def _rows(raw: dict[str, Any], what: str) -> Iterator[dict[str, Any]]:
    rows = raw.get(what)
    for row in rows if isinstance(rows, list) else []:
        if isinstance(row, dict):
            yield row | {k: repr(row[k])[:60] for k in ("name", "task", "attribute") if _is_odd(row.get(k))}


def _is_odd(value: Any) -> bool:
    """A value that no name can be: its own fault is the form's to tell."""
    return value is not None and not isinstance(value, str)
