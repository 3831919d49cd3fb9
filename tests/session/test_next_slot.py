"""The next listener's slot: the plan's order, and after a drop-out the one that stands in the same place."""

from collections import Counter
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from listening.records.dealt.plan import Plan, Slot
from listening.session.seating import next_slot


def _plan(n_slots: int, periods: tuple[int, ...]) -> Plan:
    slots = tuple(Slot(slot=s, trials=(), cell=tuple(s % p for p in periods)) for s in range(n_slots))
    values: dict[str, Any] = {"slots": slots, "listeners": n_slots}
    return Plan.model_construct(**values)


@pytest.mark.parametrize("periods", [(2,), (2, 6), (2, 4, 5), (2, 15), ()], ids=str)
def test_without_drop_outs_slots_go_in_the_order_of_the_plan(periods: tuple[int, ...]) -> None:
    plan = _plan(40, periods)
    for n in range(40):
        assert next_slot.in_order(plan, range(n))[0] == n


@pytest.mark.parametrize("lost", range(12))
def test_the_slot_after_a_drop_out_stands_where_the_lost_one_stood(lost: int) -> None:
    plan = _plan(24, (2, 6))
    sat = [s for s in range(12) if s != lost]
    # the lost slot itself is free again in principle; a station that keeps it gives a spare
    chosen = next(s for s in next_slot.in_order(plan, sat) if s != lost)
    assert plan.slots[chosen].cell == plan.slots[lost].cell


@pytest.mark.parametrize("seed", range(10))
def test_with_a_fifth_dropping_out_every_place_is_taken_equally_often_within_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plan = _plan(60, (2, 6))
    finished: list[int] = []
    gone: list[int] = []
    while len(finished) < 24:
        slot = next(s for s in next_slot.in_order(plan, finished) if s not in gone)
        (gone if rng.random() < 0.2 else finished).append(slot)
    for column in range(2):
        counts = Counter(plan.slots[s].cell[column] for s in finished)
        assert max(counts.values()) - min(counts.values()) <= 1


@pytest.mark.parametrize(("sat", "given"), [((0,), 1), ((0, 1), 3), ((0, 1, 3), 4), ((0, 1, 3, 4), 2)])
def test_a_stage_that_has_its_listeners_waits_for_one_that_lacks_some(
    sat: tuple[int, ...], given: int
) -> None:
    """Two listeners planned in each of two stages, one spare slot in the first: the spare comes last."""
    slots = tuple(Slot(slot=s, trials=(), cell=(), stage=1 if s < 3 else 2) for s in range(5))
    late = SimpleNamespace(stage=2, listeners=2)
    values: dict[str, Any] = {"slots": slots, "listeners": 2, "stages": (late,)}
    assert next_slot.in_order(Plan.model_construct(**values), sat)[0] == given
