"""Several sessions of one listener: which blocks belong together, in which order, and who missed the last."""

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from listening.records.forms.form import Form
from listening.records.forms.problem import Fault

OVER, MISSED = "session over", "missed"
"""Events of a sitting: a session is over; the person in charge says that no further one comes."""


class Sessions(Form):
    """The sessions that a listener comes to, each with a run of its own under the same code."""

    number: int = Field(1, ge=1, le=10, description="How many sessions a listener comes to.")
    order: Literal["balanced", "fixed"] = Field(
        "balanced",
        description="Which session holds which `part` of the blocks. `balanced`: over the panel every part "
        "equally often in every session; `fixed`: part 1 in the first, part 2 in the second.",
    )
    apart_at_least_h: float = Field(
        0.0,
        ge=0,
        le=2400,
        description="Hours from the last answer of a session to the next session; nobody goes on earlier.",
    )
    met_at_least: int | None = Field(
        None,
        ge=1,
        le=200,
        description="Who misses a session decides a question only if each of its pairs (ratings: each of its "
        "conditions) was met at least so often; else the listener is left out of that question. Needed with "
        "more than one session.",
    )


def faults(raw: dict[str, Any]) -> Iterator[Fault]:
    """Parts that no session holds, sessions that hold nothing, and no rule for who misses one."""
    own = raw.get("sessions")
    own = own if isinstance(own, dict) else {}
    number = own.get("number", 1)
    if not isinstance(number, int):
        return
    blocks = raw.get("blocks") if isinstance(raw.get("blocks"), list) else []
    rows = [(i, row) for i, row in enumerate(blocks or []) if isinstance(row, dict)]
    parts = [(i, row["part"]) for i, row in rows if isinstance(row.get("part"), int)]
    for i, part in parts:
        if part > number:
            wanted = f"a part from 1 to {number}" if number > 1 else "`sessions.number` above 1, or no `part`"
            yield Fault(("blocks", i, "part"), str(part), wanted)
    empty = set(range(1, number + 1)) - {part for _, part in parts}
    if number > 1 and len(parts) == len(rows) and empty:
        yield Fault(
            ("sessions", "number"),
            f"{number}, and no block in part {min(empty)}",
            "a block in every part, or blocks without `part`, which are shared out over all sessions",
        )
    if number > 1 and own.get("met_at_least") is None:
        yield Fault(
            ("sessions", "met_at_least"),
            "no rule for who misses a session",
            "how often each planned pair must have been met for the listener to count",
        )
