"""The balance report counts what it says it counts."""

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest

from listening.design import balance, dealing, slots
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.records.protocols.protocol import Protocol
from listening.records.sounds.manifest import Manifest
from listening.session.seating import next_slot

Maker = Callable[..., tuple[Protocol, Manifest]]
CONTROLS = [{"attribute": "brightness", "gains_db": [3.0], "repeats": 2}]
LEADS = "a pair's hearings with one condition first, minus the other first"
OWN_LEADS = "a listener's trials with a condition first, minus second"


def _report(study: tuple[Protocol, Manifest], dealt: list[Ordered]) -> dict[str, balance.Line]:
    condition = {s.stimulus: s.condition for s in study[1].stimuli}
    return {line.what: line for line in balance.report(dealt, condition)}


def _balanced(made: Maker, **more: Any) -> dict[str, balance.Line]:
    study = made(6, attributes=("brightness", "ringing"), controls=CONTROLS, **more)
    return _report(study, slots.of_study(*study, Draws.open_to_all(1)))


def test_an_even_panel_is_exact_where_the_design_is(made: Maker) -> None:
    lines = _balanced(made, listeners=12)
    exact = {what for what, line in lines.items() if line.exact}
    assert {
        "trials of a listener",
        "hearings of each pair (brightness, matched)",
        LEADS,
        "strong first, and weak first, of the control pairs",
        "slots that begin with each attribute",
        "slots in which an attribute follows each other one",
        "neighbouring trials of the same pair, in a slot",
    } <= exact
    assert lines[OWN_LEADS].largest == 1  # 5 pairs a condition cannot be even


def test_an_odd_panel_is_only_nearly_even(made: Maker) -> None:
    lines = _balanced(made, listeners=11)
    assert (lines[LEADS].largest, lines[LEADS].exact) == (1, False)
    assert not lines["slots that begin with each attribute"].exact


def test_a_slot_turned_round_is_seen(made: Maker) -> None:
    study = made(4, listeners=4)
    dealt = slots.of_study(*study, Draws.open_to_all(1))
    turned = [(p, replace(t, sounds=t.sounds[::-1])) for p, t in dealt[0]]
    assert _report(study, dealt)[LEADS].exact
    assert _report(study, [turned, *dealt[1:]])[LEADS].largest == 2


def test_steps_between_conditions_are_spread_more_evenly_than_by_chance(made: Maker) -> None:
    # 24 listeners x 29 steps over 30 ordered pairs and 6 self-steps: about 19 each; the range of 30 such
    # Poisson counts is 4 standard deviations, 18, by chance
    study = made(6, listeners=24, repeats=2)
    line = _report(study, slots.of_study(*study, Draws.open_to_all(1)))[
        "one condition right after another, trial to trial (brightness)"
    ]
    assert line.largest - line.smallest <= 9


@pytest.mark.parametrize("mixed", [True, False])
def test_attributes_are_mixed_or_blocked_as_the_protocol_says(made: Maker, mixed: bool) -> None:
    sitting = {"welcome": "Welcome.", "consent": "I agree.", "mixed": mixed}
    study = made(5, attributes=("brightness", "ringing"), sitting=sitting)
    for slot in slots.of_study(*study, Draws.open_to_all(1)):
        counted = [t.attribute for practice, t in slot if not practice]
        changes = sum(a != b for a, b in pairwise(counted))
        assert (changes > 3) if mixed else (changes == 1)
        assert sum(practice for practice, _ in slot) == 4


def test_the_leads_of_drop_outs_are_restored_by_the_next_slots(made: Maker) -> None:
    """12 listeners planned and 12 spare; 4 drop out; the chosen spares leave no pair more than one apart."""
    panel = {"stands_for": "nobody, made up", "training": "naive", "listeners": 12, "spare": 12}
    study = made(6, panel=panel)
    dealt = dealing.deal(*study, protocol_digest="1" * 64, secret="0" * 32, dealt_at="now")
    lost = [1, 3, 5, 9]  # all with the same lead: the worst case
    sat = [s for s in range(12) if s not in lost]
    for _ in lost:
        sat.append(next(s for s in next_slot.in_order(dealt.plan, sat) if s not in lost))
    ordered = slots.of_study(*study, Draws.open_to_all(1))
    assert _report(study, [ordered[s] for s in sat])[LEADS].largest <= 1
    assert _report(study, ordered[:1] + [ordered[s] for s in sat[:8]])[LEADS].largest > 1
