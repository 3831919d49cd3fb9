"""Which slot the next listener gets: the one that evens the plan out among those who really sat."""

from collections import Counter
from collections.abc import Collection, Sequence

from listening.records.dealt.plan import Plan, Slot


def in_order(plan: Plan, counted: Collection[int]) -> list[int]:
    """All slots not in `counted`, the one to give next at the front.

    As long as nobody drops out this is the order of the plan. After a drop-out the next listener gets a slot
    that stands where the lost one stood, as nearly as one is left. A stage that lacks listeners comes first.

    Parameters
    ----------
    counted : slots of listeners who finished or still sit; the slot of a drop-out is not among them
    """
    short: list[list[int]] = []
    full: list[list[int]] = []
    for stage, planned in plan.planned_of_each.items():
        own = plan.of_stage(stage)
        order = _evening(own, counted)
        (short if sum(slot.slot in counted for slot in own) < planned else full).append(order)
    return [slot for order in (*short, *full) for slot in order]


def _evening(slots: Sequence[Slot], counted: Collection[int]) -> list[int]:
    """The slots of one stage that are left, the one that evens it out at the front."""
    seen = [Counter(values) for values in _columns([slot for slot in slots if slot.slot in counted])]
    left = [slot for slot in slots if slot.slot not in counted]
    return [slot.slot for slot in sorted(left, key=lambda slot: (_crowding(slot, seen), slot.slot))]


def _columns(slots: Sequence[Slot]) -> list[tuple[int, ...]]:
    return list(zip(*(slot.cell for slot in slots), strict=True)) if slots else []


def _crowding(slot: Slot, seen: list[Counter[int]]) -> int:
    """How many listeners already stand where this slot stands, over all balanced properties."""
    return sum(counts[value] for counts, value in zip(seen, slot.cell, strict=False))
