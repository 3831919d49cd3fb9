"""Comparison designs, checked by counting for 3 to 16 conditions and 1 to 60 listeners."""

import tomllib
from collections import Counter
from collections.abc import Callable, Iterable
from math import comb, gcd
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from listening.design import comparison, cyclic, decompositions, incomplete_blocks
from listening.design.dealt_trial import Trial
from listening.design.draws import Draws
from listening.errors import StudyError
from listening.records.protocols.protocol import Contrast, Protocol
from listening.records.sounds.manifest import Manifest

Maker = Callable[..., tuple[Protocol, Manifest]]
CYCLIC = tomllib.loads((Path(__file__).resolve().parents[1] / "published/cyclic_pairs.toml").read_text())
LISTENERS = 60


def _condition(trial: Trial, place: int) -> int:
    return int(trial.sounds[place].stimulus[1:3])


def _ordered(slot: Iterable[Trial]) -> list[tuple[int, int]]:
    return [(_condition(t, 0), _condition(t, 1)) for t in slot]


def _slots(made: Maker, k: int, pairs: str, repeats: int = 1, **block: Any) -> list[list[Trial]]:
    protocol, manifest = made(k, pairs=pairs, repeats=repeats, block=block, listeners=LISTENERS)
    return comparison.of_slots(protocol, manifest, protocol.blocks[0], LISTENERS, draws=Draws.open_to_all(1))


def _within_one(counts: Iterable[int]) -> bool:
    numbers = list(counts)
    return max(numbers) - min(numbers) <= 1


def _connected(pairs: Iterable[tuple[int, int]], k: int) -> bool:
    reached, pairs = {0}, list(pairs)
    for _ in range(k):
        reached |= {x for a, b in pairs for x in (a, b) if a in reached or b in reached}
    return len(reached) == k


def _leads_within_one_after_each_listener(slots: list[list[Trial]]) -> bool:
    lead: Counter[tuple[int, int]] = Counter()
    for slot in slots:
        for a, b in _ordered(slot):
            lead[min(a, b), max(a, b)] += 1 if a < b else -1
        if max(abs(v) for v in lead.values()) > 1:
            return False
    return True


def _surplus(slot: list[Trial]) -> Counter[int]:
    """Times first minus times second, for each condition."""
    count: Counter[int] = Counter()
    for a, b in _ordered(slot):
        count[a] += 1
        count[b] -= 1
    return count


@pytest.mark.parametrize("repeats", [1, 2, 3])
@pytest.mark.parametrize("k", range(3, 17))
def test_all_pairs_are_even_for_every_listener_and_after_each_one(made: Maker, k: int, repeats: int) -> None:
    slots = _slots(made, k, "all", repeats)
    for slot in slots:
        heard = Counter(tuple(sorted(pair)) for pair in _ordered(slot))
        assert len(heard) == comb(k, 2)
        assert set(heard.values()) == {repeats}
        assert max(abs(v) for v in _surplus(slot).values()) <= (1 if k % 2 == 0 and repeats % 2 else 0)
    assert _leads_within_one_after_each_listener(slots)


@pytest.mark.parametrize(
    ("k", "partners"),
    [(k, p) for k in range(3, 17) for p in (2, 3, 4, 6) if p < k and (k % 2 == 0 or p % 2 == 0)],
)
def test_a_rotating_part_is_connected_regular_and_even_after_each_listener(
    made: Maker, k: int, partners: int
) -> None:
    slots = _slots(made, k, "rotating", partners=partners)
    dealt: Counter[tuple[int, int]] = Counter({(i, j): 0 for j in range(k) for i in range(j)})
    for slot in slots:
        pairs = [(min(p), max(p)) for p in _ordered(slot)]
        assert set(Counter(c for p in pairs for c in p).values()) == {partners}
        assert _connected(pairs, k)
        dealt.update(pairs)
        assert _within_one(dealt.values())
        if k % 2:
            assert not any(_surplus(slot).values())
    assert _leads_within_one_after_each_listener(slots)


@pytest.mark.parametrize("k", range(5, 17))
def test_a_cyclic_part_is_the_same_for_all_connected_and_regular(made: Maker, k: int) -> None:
    slots = _slots(made, k, "cyclic", partners=4)
    parts = {frozenset(frozenset(p) for p in _ordered(slot)) for slot in slots}
    assert len(parts) == 1
    assert _connected(_ordered(slots[0]), k)
    assert set(Counter(c for p in _ordered(slots[0]) for c in p).values()) == {4}
    assert _leads_within_one_after_each_listener(slots)


@pytest.mark.parametrize(
    ("k", "size"), [(k, s) for k in range(3, 17) for s in incomplete_blocks.sizes(k)], ids=str
)
def test_blocks_hold_every_pair_equally_often(k: int, size: int) -> None:
    known = incomplete_blocks.blocks(k, size)
    together = Counter((a, b) for block in known for a in block for b in block if a < b)
    assert len(together) == comb(k, 2)
    assert len(set(together.values())) == 1
    assert {len(set(block)) for block in known} == {size}


def test_every_listener_gets_all_pairs_of_one_block(made: Maker) -> None:
    slots = _slots(made, 7, "blocks", block_size=3)
    assert all(len(_ordered(s)) == 3 and len({c for p in _ordered(s) for c in p}) == 3 for s in slots)
    dealt = Counter(tuple(sorted(p)) for slot in slots[:56] for p in _ordered(slot))
    assert set(dealt.values()) == {8}  # 56 listeners are the 7 blocks 8 times


def test_planned_pairs_go_to_everybody_on_top_of_a_part(made: Maker) -> None:
    slots = _slots(made, 9, "rotating", partners=2, planned_too=True)
    assert all(Counter(tuple(sorted(p)) for p in _ordered(slot))[0, 1] == 1 for slot in slots)


@pytest.mark.parametrize("strikes", [1, 2, 3, 4])
def test_every_combination_of_strikes_is_heard_in_both_orders(made: Maker, strikes: int) -> None:
    n = 2 * strikes**2
    protocol, manifest = made(3, strikes=strikes, listeners=n)
    slots = comparison.of_slots(protocol, manifest, protocol.blocks[0], n, draws=Draws.open_to_all(1))
    heard = Counter((t.first.stimulus, t.second.stimulus) for slot in slots for t in slot)
    assert len(heard) == 3 * n
    assert set(heard.values()) == {1}


@pytest.mark.parametrize("k", range(4, 17, 2))
def test_two_neighbouring_rounds_make_one_ring(k: int) -> None:
    rounds = decompositions.rounds(k)
    assert sorted(tuple(sorted(p)) for r in rounds for p in r) == [
        (i, j) for i in range(k) for j in range(i + 1, k)
    ]
    for a, b in zip(rounds, [*rounds[1:], rounds[0]], strict=True):
        assert _connected(a + b, k)


@pytest.mark.parametrize("design", CYCLIC["designs"], ids=lambda d: f"r{d['replications']}")
def test_the_chosen_cyclic_design_is_as_efficient_as_the_published_one(design: dict[str, Any]) -> None:
    below = CYCLIC["designs"][: design["replications"] // 2]
    for place, k in enumerate(design["treatments"]):
        published = tuple(d["added"][d["treatments"].index(k)] - 1 for d in below)
        if any(2 * step == k for step in published):
            continue  # a half step gives one partner only: another degree
        chosen = cyclic.best_steps(k, design["replications"])
        assert gcd(k, *published) == 1, place
        # criteria agree to rounding of the eigenvalues where the design is the same up to renaming
        assert cyclic.efficiency(k, chosen) >= cyclic.efficiency(k, published) - 1e-12


@pytest.mark.parametrize("k", [4, 7, 12])
def test_the_efficiency_of_a_ring_is_the_closed_form(k: int) -> None:
    # sum over j of 1 / (2 - 2 cos(2 pi j / k)) = (k^2 - 1) / 12, so E = 12 (k - 1) / ((k + 1) 2 k)
    assert cyclic.efficiency(k, (1,)) == pytest.approx(6 * (k - 1) / (k * (k + 1)), rel=1e-12)


def test_all_pairs_are_fully_efficient() -> None:
    assert cyclic.efficiency(8, (1, 2, 3, 4)) == pytest.approx(1.0, rel=1e-12)


@pytest.mark.parametrize(
    ("k", "block", "told"),
    [
        (5, {"pairs": "rotating", "partners": 3}, "wanted one of 2, 4"),
        (5, {"pairs": "cyclic", "partners": 6}, "wanted one of 2, 4"),
        (10, {"pairs": "blocks", "block_size": 4}, "take one of"),
        (1, {"pairs": "all"}, "wanted at least 2"),
    ],
)
def test_a_part_that_does_not_exist_is_refused_with_those_that_do(
    made: Maker, k: int, block: dict[str, Any], told: str
) -> None:
    protocol, _ = made(max(k, 2), block=block)
    with pytest.raises(StudyError, match=told):
        comparison.of_slots(
            protocol,
            made(max(k, 2))[1] if k > 1 else _one_condition(made),
            protocol.blocks[0],
            1,
            draws=Draws.open_to_all(1),
        )


def _one_condition(made: Maker) -> Manifest:
    manifest = made(2)[1]
    return manifest.model_copy(update={"stimuli": manifest.stimuli[:3]})


def test_more_listeners_do_not_change_the_slots_already_dealt(made: Maker) -> None:
    protocol, manifest = made(6, pairs="rotating", block={"partners": 3})
    few = comparison.of_slots(protocol, manifest, protocol.blocks[0], 5, draws=Draws.open_to_all(1))
    many = comparison.of_slots(protocol, manifest, protocol.blocks[0], 50, draws=Draws.open_to_all(1))
    assert few == many[:5]


def test_renaming_leads_is_as_even_as_any_choice_could_be() -> None:
    from listening.design import leads

    rng = np.random.default_rng(3)
    for _ in range(40):
        pairs = [(i, j) for j in range(5) for i in range(j) if rng.random() < 0.7]
        start = [bool(rng.integers(2)) for _ in pairs]
        fixed = [bool(rng.random() < 0.3) for _ in pairs]
        cost = _cost(pairs, leads.choose(pairs, start, fixed, 5))
        free = [n for n in range(len(pairs)) if not fixed[n]]
        tried = []
        for mask in range(2 ** len(free)):
            own = list(start)
            for bit, n in enumerate(free):
                own[n] = bool(mask >> bit & 1)
            tried.append(_cost(pairs, own))
        assert cost == min(tried)


def _cost(pairs: list[tuple[int, int]], leads: list[bool]) -> int:
    count: Counter[int] = Counter()
    for (i, j), lead in zip(pairs, leads, strict=True):
        count[i if lead else j] += 1
        count[j if lead else i] -= 1
    return sum(v * v for v in count.values())


@pytest.mark.parametrize(("pairs", "block"), [("all", {}), ("cyclic", {"partners": 2, "planned_too": True})])
def test_a_planned_pair_gets_the_hearings_it_needs_and_the_others_their_own(made, pairs, block) -> None:
    slots = _slots(made, 5, pairs, repeats=2, planned_repeats=6, **block)
    for slot in slots:
        heard = Counter(frozenset(pair) for pair in _ordered(slot))
        assert heard.pop(frozenset({0, 1})) == 6  # the conftest's question compares c00 and c01
        assert set(heard.values()) == {2}
        assert Counter(_ordered(slot))[0, 1] == 3  # either leads half the time
    assert _leads_within_one_after_each_listener(slots)


@pytest.mark.parametrize(("pairs", "block"), [("planned", {}), ("cyclic", {"partners": 2})])
def test_planned_repeats_belong_where_other_pairs_are_heard_too(made, pairs, block) -> None:
    with pytest.raises(ValueError, match="planned_repeats"):
        made(5, pairs=pairs, block={"planned_repeats": 4, **block})


def test_a_block_can_take_the_pairs_of_all_questions_and_hear_its_own_more_often(made) -> None:
    protocol, manifest = made(4, attributes=("brightness", "loudness"))
    own = protocol.questions[0].model_copy(
        update={"id": "own", "attribute": "loudness", "contrast": Contrast(more="c02/free", than="c03/free")}
    )
    update = {"pairs": "planned", "of_all_questions": True, "planned_repeats": 4}
    block = protocol.blocks[1].model_copy(update=update)
    chosen = protocol.model_copy(update={"questions": [*protocol.questions, own]})
    for slot in comparison.of_slots(chosen, manifest, block, 6, draws=Draws.open_to_all(1)):
        heard = Counter(frozenset(pair) for pair in _ordered(slot))
        assert heard == {frozenset({0, 1}): 1, frozenset({2, 3}): 4}
