"""Direct against indirect comparisons: agree on one scale, differ where preferences go in a circle."""

import numpy as np
import pytest
from scipy.stats import binom

from stats.deciding import transitivity


def table(rng, strengths, *, beyond=0.0, listeners=24, repeats=4, sd=0.5):
    """All pairs; `beyond` is added to the log-odds of the first pair alone."""
    k = len(strengths)
    pairs = [(i, j) for i in range(k) for j in range(k) if i != j]
    cells = np.array([(who, i, j) for who in range(listeners) for i, j in pairs for _ in range(repeats)])
    taste = rng.normal(0, sd, (listeners, k)) + strengths
    logit = taste[cells[:, 0], cells[:, 1]] - taste[cells[:, 0], cells[:, 2]]
    sign = ((cells[:, 1] == 0) & (cells[:, 2] == 1)) * 1.0 - ((cells[:, 1] == 1) & (cells[:, 2] == 0))
    chosen = (rng.random(len(cells)) < 1 / (1 + np.exp(-logit - beyond * sign))).astype(float)
    return cells[:, 0], cells[:, 1], cells[:, 2], chosen


def test_strengths_on_one_scale_agree_in_19_panels_of_20():
    rng = np.random.default_rng(8)
    p = [transitivity.test(*table(rng, np.array([0.6, 0.0, -0.4, 0.3])), (0, 1)).p for _ in range(200)]
    assert np.mean(np.array(p) < 0.05) <= binom.ppf(0.999, 200, 0.05) / 200


def test_a_circle_is_found():
    rng = np.random.default_rng(8)
    found = transitivity.test(*table(rng, np.array([0.6, -0.6, 0.0, 0.0]), beyond=-1.2), (0, 1))
    assert found.direct == pytest.approx(0.0, abs=0.3)
    assert found.indirect > 0.7
    assert found.p < 0.01


def test_one_third_sound_by_hand():
    """With b, a and c alone the indirect log-odds are those of b over c less those of a over c."""
    listener = np.repeat(np.arange(4), 6)
    first, second = np.tile([1, 1, 1, 1, 0, 0], 4), np.tile([0, 0, 2, 2, 2, 2], 4)
    chosen = np.tile([1.0, 0.0, 1.0, 0.5, 0.0, 0.5], 4)
    chosen[0], chosen[4] = 0.0, 1.0
    found = transitivity.test(listener, first, second, chosen, (1, 0))

    def logit(total):
        share = (total + 0.5) / 5
        return np.log(share / (1 - share))

    assert found.direct == pytest.approx(logit(1.5))
    assert found.indirect == pytest.approx(logit(3.0) - logit(1.5))


def test_without_a_chain_there_is_none():
    who, pair = np.arange(8), (0, 1)
    assert transitivity.test(who, np.zeros(8, int), np.ones(8, int), np.ones(8), pair) is None


def test_other_pairs_that_do_not_join_the_two_say_nothing_of_them():
    """The pair, and two other sounds compared with each other and never with these."""
    rng = np.random.default_rng(3)
    who, first = np.repeat(np.arange(12), 8), np.tile([0, 1, 2, 3], 24)
    second = np.array([1, 0, 3, 2])[first]
    chosen = (rng.random(who.size) < 0.7).astype(float)
    assert transitivity.test(who, first, second, chosen, (0, 1)) is None


@pytest.mark.parametrize(("listeners", "is_told"), [(2, False), (3, True)])
def test_three_listeners_are_needed_for_an_error(listeners, is_told):
    rows = table(np.random.default_rng(5), np.array([0.5, 0.0, 0.2]), listeners=listeners)
    found = transitivity.test(*rows, (0, 1))
    assert (found is not None) is is_told
    assert found is None or found.df == listeners - 1


def test_turning_the_pair_turns_the_signs_and_keeps_p():
    rng = np.random.default_rng(1)
    rows = table(rng, np.array([0.5, 0.0, 0.2]))
    one, other = transitivity.test(*rows, (0, 1)), transitivity.test(*rows, (1, 0))
    assert other.direct == pytest.approx(-one.direct, abs=1e-12)
    assert other.p == pytest.approx(one.p, rel=1e-9)
