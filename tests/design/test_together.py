"""Several attributes asked about the same pair: heard once, asked in a balanced order, each its own trial."""

from collections import Counter
from typing import Any

import pytest
from pydantic import ValidationError

from listening.design import balance, slots
from listening.design.dealing import deal
from listening.design.draws import Draws
from listening.design.order import Ordered
from listening.planning import budget
from tests.design.conftest import Maker

NAMES = ("brightness", "ringing", "fullness")


def together(made: Maker, n: int = 3, *, listeners: int = 12, **rules: Any) -> tuple[Any, Any]:
    names = NAMES[:n]
    sitting = {"welcome": "Welcome.", "consent": "I agree.", "practice_trials": 2, "together": list(names)}
    controls = [{"attribute": name, "gains_db": [3.0]} for name in names]
    return made(4, listeners=listeners, attributes=names, sitting={**sitting, **rules}, controls=controls)


def pairs(slot: Ordered) -> list[list[Any]]:
    groups: list[list[Any]] = []
    for practice, trial in slot:
        if trial.follows:
            groups[-1].append((practice, trial))
        else:
            groups.append([(practice, trial)])
    return groups


def test_every_pair_practice_and_controls_too_is_asked_every_attribute(made: Maker) -> None:
    for slot in slots.of_study(*together(made), Draws.open_to_all(1)):
        for group in pairs(slot):
            assert {trial.attribute for _, trial in group} == set(NAMES)
            assert len({(practice, trial.sounds) for practice, trial in group}) == 1
        assert sum(practice for practice, _ in slot) == 2 * len(NAMES)
        assert any(trial.is_control for _, trial in slot)


def test_over_the_panel_every_attribute_stands_at_every_place_equally_often(made: Maker) -> None:
    places: Counter[tuple[str, int]] = Counter()
    for slot in slots.of_study(*together(made, listeners=12), Draws.open_to_all(1)):
        orders = {tuple(trial.attribute for _, trial in group) for group in pairs(slot)}
        assert len(orders) == 1, "one order a listener"
        places.update((name, i) for i, name in enumerate(orders.pop()))
    assert set(places.values()) == {4}


def test_a_fixed_order_is_the_protocols(made: Maker) -> None:
    for slot in slots.of_study(*together(made, together_order="fixed"), Draws.open_to_all(1)):
        assert all(tuple(t.attribute for _, t in group) == NAMES for group in pairs(slot))


def test_neighbouring_pairs_do_not_share_sounds_more_than_without(made: Maker) -> None:
    protocol, manifest = together(made)
    condition = {s.stimulus: s.condition for s in manifest.stimuli}
    lines = {
        line.what: line
        for line in balance.report(slots.of_study(protocol, manifest, Draws.open_to_all(1)), condition)
    }
    assert lines["neighbouring trials of the same pair, in a slot"].exact
    assert lines["slots in which an attribute is asked first about a pair"].exact
    steps = [lines[f"one condition right after another, trial to trial ({name})"] for name in NAMES]
    assert len({(line.smallest, line.largest) for line in steps}) == 1, (
        "every pair counts for every attribute"
    )


def test_the_plan_says_which_trials_follow_and_a_drop_out_is_evened_out(made: Maker) -> None:
    protocol, manifest = together(made)
    plan = deal(protocol, manifest, protocol_digest="0" * 64, secret="1" * 32, dealt_at="x").plan
    first, second, third, fourth = plan.slots[0].trials[:4]
    assert (first.follows, second.follows, third.follows, fourth.follows) == (False, True, True, False)
    assert first.clips == second.clips == third.clips != fourth.clips
    assert len({slot.cell for slot in plan.slots[:6]}) == 6


def test_a_question_more_about_the_same_pair_costs_the_time_of_an_answer_only(made: Maker) -> None:
    protocol, manifest = together(made, n=2)
    apart = protocol.model_copy(update={"sitting": protocol.sitting.model_copy(update={"together": []})})
    seconds = [budget.of_study(p, manifest) for p in (protocol, apart)]
    heard_once, heard_twice = (sum(part.seconds for part in b.parts) for b in seconds)
    sound_s = 2 * protocol.trimming.length_s + protocol.sitting.gap_s
    trials = sum(part.trials for part in seconds[0].parts) / 2
    assert heard_twice - heard_once == pytest.approx(trials * sound_s, abs=1e-9)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"together": ["brightness"]}, "two attributes or more"),
        ({"together": ["brightness", "brilliance"]}, "found `brilliance`, wanted one of brightness"),
    ],
)
def test_what_cannot_be_asked_together_is_refused(made: Maker, change: dict[str, Any], message: str) -> None:
    with pytest.raises(ValidationError, match=message):
        together(made, **change)


def test_other_blocks_cannot_be_asked_together(made: Maker) -> None:
    protocol, _ = together(made, n=2)
    raw = protocol.model_dump()
    raw["blocks"][1]["repeats"] = 2
    with pytest.raises(ValidationError, match="`ringing` with other blocks than `brightness`"):
        type(protocol).model_validate(raw)
