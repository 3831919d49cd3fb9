"""Sessions of a listener: what each holds, and how evenly."""

from collections import Counter

import pytest

from listening.design import forms, session_parts, slots
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.errors import RecordError
from listening.records.protocols import protocol
from listening.records.protocols.protocol import Protocol
from listening.records.protocols.sessions import Sessions
from listening.records.protocols.stages import Stage
from tests.bells import PROTOCOL, chosen, manifest
from tests.design import conftest as made_up

CONDITION = {s.stimulus: s.condition for s in manifest().stimuli}
TWO = Sessions(number=2, met_at_least=4)


def _protocol(*parts: int | None, sessions: Sessions = TWO, n_listeners: int = 8) -> Protocol:
    whole = chosen(n_listeners)
    blocks = [
        block.model_copy(update={"part": part}) for block, part in zip(whole.blocks, parts, strict=True)
    ]
    return whole.model_copy(update={"blocks": blocks, "sessions": sessions})


def _held(protocol: Protocol) -> list[list[Trial]]:
    """The counted trials of each slot with their session, not put in order: that takes long."""
    draws, made = Draws.open_to_all(1), manifest()
    n_slots = protocol.panel.listeners
    names = dict.fromkeys(block.attribute for block in protocol.blocks)
    trials = {name: forms.of_attribute(protocol, made, name, n_slots, draws=draws) for name in names}
    rows = session_parts.orders(protocol, n_slots, draws)
    slots_held = []
    for slot in range(n_slots):
        own = {name: every[slot] for name, every in trials.items()}
        held = session_parts.of_slot(protocol, own, slot, rows[slot], condition=CONDITION)
        slots_held.append([trial for one in held for part in one.values() for trial in part])
    return slots_held


def test_blocks_without_a_part_are_met_as_often_in_each_session_and_in_both_orders() -> None:
    for slot in _held(_protocol(None, None, None, None)):
        met = Counter((t.group, t.session) for t in slot if not t.is_control)
        first = Counter((t.group, t.session, CONDITION[t.first.stimulus]) for t in slot if not t.is_control)
        for (group, _), n in met.items():
            apart = abs(met[group, 1] - met[group, 2])
            assert apart == 0, "every pair has an even number of hearings here"
            assert n > 0
        for (group, session, _), n in first.items():
            if met[group, session] % 2 == 0:
                assert 2 * n == met[group, session]


def test_sessions_come_one_after_the_other_with_practice_in_each() -> None:
    small = made_up.protocol_of(3, listeners=2, repeats=4, sessions={"number": 2, "met_at_least": 2})
    for slot in slots.of_study(small, made_up.manifest_of(3), Draws.open_to_all(1)):
        numbers = [trial.session for _, trial in slot]
        assert numbers == sorted(numbers)
        assert {trial.session for practice, trial in slot if practice} == {1, 2}


def test_parts_stand_in_each_session_equally_often() -> None:
    place = Counter()
    for slot in _held(_protocol(1, 2, None, None)):
        of_part = {t.part: t.session for t in slot if t.part}
        assert sorted(of_part) == [1, 2] == sorted(of_part.values())
        place[of_part[1]] += 1
    assert place == {1: 4, 2: 4}


def test_controls_come_where_their_attribute_is_asked() -> None:
    for slot in _held(_protocol(1, 2, None, None)):
        asked = {(t.attribute, t.session) for t in slot if not t.is_control}
        controls = Counter((t.attribute, t.session) for t in slot if t.is_control)
        assert set(controls) <= asked
        assert controls["loudness", 1] == controls["loudness", 2]


def test_a_fixed_order_gives_part_one_first() -> None:
    fixed = Sessions(number=2, met_at_least=4, order="fixed")
    for slot in _held(_protocol(1, 2, 1, 2, sessions=fixed)):
        assert all(t.part == t.session for t in slot if t.part)


def test_the_order_of_parts_is_one_of_the_balanced_properties_of_a_slot() -> None:
    protocol = _protocol(1, 2, None, None)
    draws = Draws.open_to_all(1)
    cells = slots.cells(protocol, manifest(), 8, draws)
    firsts = [next(t.part for t in slot if t.part and t.session == 1) for slot in _held(protocol)]
    assert {(cell[-1], first) for cell, first in zip(cells, firsts, strict=True)} == {(0, 1), (1, 2)}


def test_one_session_deals_what_it_dealt_before() -> None:
    sounds, draws = made_up.manifest_of(3), Draws.open_to_all(1)
    plain = made_up.protocol_of(3, listeners=3, repeats=4)
    one = plain.model_copy(update={"sessions": Sessions(number=1, met_at_least=3)})
    assert slots.of_study(one, sounds, draws) == slots.of_study(plain, sounds, draws)


@pytest.mark.parametrize(
    ("said", "wanted"),
    [
        ("[sessions]\nnumber = 2\n", "met_at_least"),
        ("[sessions]\nnumber = 3\nmet_at_least = 2\n", "shared out over all sessions"),
        ("", "`sessions.number` above 1"),
    ],
)
def test_sessions_that_do_not_fit_the_blocks_are_refused(tmp_path, said: str, wanted: str) -> None:
    text = PROTOCOL.read_text()
    if "number = 2" not in said:
        for part in (1, 2, 2, 2):
            text = text.replace("[[blocks]]\nattribute", f"[[blocks]]\npart = {part}\nattribute", 1)
    path = tmp_path / "protocol.toml"
    path.write_text(text + "\n" + said)
    with pytest.raises(RecordError, match=wanted):
        protocol.load(path)


def test_what_is_counted_is_what_is_heard_and_a_late_stage_is_not_in_it() -> None:
    whole = chosen(8)
    late = [block.model_copy(update={"stage": 2}) for block in whole.blocks]
    staged = whole.model_copy(
        update={"blocks": [*whole.blocks, *late], "stages": [Stage(stage=2, listeners=8)]}
    )
    draws = Draws.open_to_all(1)
    for asked in (whole, staged):
        counted = next(slots.unordered(asked, manifest(), draws))
        heard = next(slots.in_turn(asked, manifest(), draws))
        assert Counter(is_practice for is_practice, _ in counted) == Counter(p for p, _ in heard)
    assert len(next(slots.unordered(staged, manifest(), draws))) == len(
        next(slots.unordered(whole, manifest(), draws))
    )
