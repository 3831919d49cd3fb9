"""Balanced orders, checked by counting."""

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from listening.design import order, williams
from listening.design.dealt_trial import Heard, Trial


@pytest.mark.parametrize("k", range(1, 17))
def test_each_item_follows_every_other_equally_often(k: int) -> None:
    # Williams 1949: k rows for even k, 2k for odd k; carry-over exactly balanced
    rows = williams.square(k)
    assert all(sorted(row) == list(range(k)) for row in rows.tolist())
    follows = Counter(pair for row in rows.tolist() for pair in pairwise(row))
    assert set(follows.values()) <= {1 if k % 2 == 0 else 2}
    assert len(follows) == k * (k - 1)
    for column in rows.T:
        assert len(set(Counter(column.tolist()).values())) == 1


def test_the_square_of_four_is_the_one_of_the_textbooks() -> None:
    # Williams 1949 via the usual construction 0, 1, k-1, 2, ... (from memory): rows 0132 1203 2310 3021
    printed = {"0132", "1203", "2310", "3021"}
    own = {"".join(map(str, row)) for row in williams.square(4).tolist()}
    mirrored = {"".join(str((-int(c)) % 4) for c in row) for row in own}
    assert printed in (own, mirrored)


def test_no_item_has_no_order() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        williams.square(0)


def _pairs(n: int, repeats: int) -> list[Trial]:
    return [
        Trial("a", (Heard(f"s{i}"), Heard(f"s{j}")), group=f"{i}-{j}")
        for i in range(n)
        for j in range(i)
        for _ in range(repeats)
    ]


@pytest.mark.parametrize("seed", range(5))
def test_a_shuffled_block_never_repeats_a_pair_at_once(seed: int) -> None:
    made = order.shuffled(_pairs(5, 3), np.random.default_rng(seed))
    assert Counter(p.group for p in made) == Counter(p.group for p in _pairs(5, 3))
    assert all(a.group != b.group for a, b in pairwise(made))


def test_attributes_begin_equally_often_over_a_square_of_slots() -> None:
    first = Counter(order.attributes(["x", "y", "z"], slot, 5)[0] for slot in range(12))
    assert set(first.values()) == {4}


@pytest.mark.parametrize("k", range(3, 13))
def test_sounds_of_a_whole_set_stand_in_every_place_and_after_every_other_equally_often(k: int) -> None:
    rows = williams.shuffled_square(k, np.random.default_rng(3))
    for column in rows.T:
        assert len(set(Counter(column.tolist()).values())) == 1
    follows = Counter(pair for row in rows.tolist() for pair in pairwise(row))
    assert len(follows) == k * (k - 1)
    assert len(set(follows.values())) == 1


@pytest.mark.parametrize("k", range(3, 17))
def test_single_sounds_follow_each_other_equally_often_over_the_panel(k: int) -> None:
    square = williams.shuffled_square(k, np.random.default_rng(4))
    trials = [Trial("a", (Heard(f"s{i:02d}"),), group=f"g{i:02d}") for i in range(k)]
    slots = [order.by_williams(trials, square, slot) for slot in range(60)]
    follows: Counter[tuple[str, str]] = Counter(
        {(a.group, b.group): 0 for a in trials for b in trials if a is not b}
    )
    for number, slot in enumerate(slots, start=1):
        follows.update((a.group, b.group) for a, b in pairwise(slot))
        spread = max(follows.values()) - min(follows.values())
        # each row holds a step at most once: within one for even k; a square for odd k needs two of each
        assert spread <= (1 if k % 2 == 0 else 2)
        if number % len(square) == 0:
            assert spread == 0


def test_no_single_sound_is_heard_twice_running() -> None:
    square = williams.shuffled_square(5, np.random.default_rng(5))
    trials = [Trial("a", (Heard(f"s{i}"),), group=f"g{i}") for i in range(5) for _ in range(3)]
    for slot in range(40):
        made = order.by_williams(trials, square, slot)
        assert Counter(t.group for t in made) == Counter(t.group for t in trials)
        assert all(a.group != b.group for a, b in pairwise(made))
