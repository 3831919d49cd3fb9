"""How often a rule leaves somebody out: against scipy's binomial, hand-made cases and a plain count."""

import itertools
import math

import pytest
from scipy import stats as scipy_stats

from stats.discrimination import exclusion_chances
from stats.errors import StatsError


@pytest.mark.parametrize(("n", "limit", "chance"), [(10, 0.7, 0.9), (12, 0.75, 0.5), (7, 0.5, 0.3)])
def test_a_share_is_held_against_the_limit_as_the_rule_does(n: int, limit: float, chance: float) -> None:
    """A share equal to the limit is not below it."""
    most = max(k for k in range(n + 1) if k / n < limit)
    assert exclusion_chances.share_below(n, limit, chance) == pytest.approx(
        scipy_stats.binom.cdf(most, n, chance), abs=1e-12
    )
    fewest = min(k for k in range(n + 1) if k / n > limit)
    assert exclusion_chances.share_above(n, limit, chance) == pytest.approx(
        scipy_stats.binom.sf(fewest - 1, n, chance), abs=1e-12
    )


def test_one_side_counts_either_side() -> None:
    """4 trials, more than three quarters on one side: all four, 2 / 2^4."""
    assert exclusion_chances.one_side_above(4, 0.75) == pytest.approx(2 / 16, abs=1e-15)


@pytest.mark.parametrize("chance", [0.5, 0.7])
def test_repeats_alike_are_counted_over_every_sequence(chance: float) -> None:
    """Two things, heard three times and twice: all 32 sequences of answers, one by one."""
    limit, wanted = 0.6, 0.0
    for answers in itertools.product((0, 1), repeat=5):
        pairs = [*itertools.combinations(answers[:3], 2), *itertools.combinations(answers[3:], 2)]
        if sum(a == b for a, b in pairs) / len(pairs) < limit:
            wanted += math.prod(chance if a else 1 - chance for a in answers)
    assert exclusion_chances.alike_below([3, 2], limit, chance) == pytest.approx(wanted, abs=1e-12)


def test_without_a_trial_nobody_is_left_out() -> None:
    assert exclusion_chances.share_below(0, 0.5, 0.5) == 0.0
    assert exclusion_chances.alike_below([1, 1, 1], 0.9, 0.5) == 0.0


def test_a_chance_beyond_one_is_refused() -> None:
    with pytest.raises(StatsError, match="wanted 0 to 1"):
        exclusion_chances.share_below(3, 0.5, 1.2)
