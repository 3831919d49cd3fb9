"""One list of actions, each with its act; what is shown follows from a state that never changes."""

from dataclasses import FrozenInstanceError
from pathlib import Path

import pytest

from listening.session.actions import Action, named
from listening.session.acts.act_table import ACTS
from listening.session.showing import drawing, offers
from tests.stations import OPENING, make_plan, take_seat, walk

BEFORE_A_SEAT = {Action.BEGIN, Action.HAVE_CODE, Action.TAKE_CODE, Action.BACK, Action.SIGN}


def test_every_action_of_a_sitting_has_its_act_and_no_other_has() -> None:
    assert set(ACTS) == set(Action) - BEFORE_A_SEAT


def test_every_action_is_found_by_its_word_and_no_word_stands_twice() -> None:
    assert [named(action.word) for action in Action] == list(Action)
    assert named("confirm:first") is None


def test_no_key_does_two_things_at_once(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    for act in (*OPENING, "play", "choose:first"):
        keys = [offer.key for offer in bench.sitting.actions()]
        assert len(keys) == len(set(keys)), (bench.sitting.stage, keys)
        walk(bench.sitting, act)


def test_an_act_leaves_the_state_before_it_as_it_was(tmp_path: Path) -> None:
    bench = take_seat(tmp_path, make_plan())
    walk(bench.sitting, *OPENING, "play")
    before = bench.sitting.state
    seen, offered = drawing.view(before), offers.offered(before)
    walk(bench.sitting, "choose:first", "confirm", "play")
    assert (drawing.view(before), offers.offered(before)) == (seen, offered)
    assert bench.sitting.state.left == before.left[1:]
    with pytest.raises(FrozenInstanceError):
        before.notice = "changed"  # type: ignore[misc]
