"""The verdict on shares: level taken every way must leave the word, and the weakest way has the say."""

import numpy as np
import pytest
from scipy import stats as reference

from stats.deciding import direct_share, level_bound, listeners_outside, share_verdict
from stats.deciding.level_bound import Controls, LevelBound
from stats.errors import StatsError

EACH = 20
WHO = np.repeat(np.arange(12), EACH)
# own shares evenly about 0.70: no skewness, so that the limits are Student's t
SHARES = 0.70 + 0.05 * np.array([-2, -1, -1, 0, 0, 0, 0, 0, 0, 1, 1, 2])


def answers(shares=SHARES):
    """Each listener's share of EACH answers, the two heard first in turn."""
    return np.concatenate([np.arange(EACH) < round(EACH * one) for one in shares]).astype(float)


def found(shares=SHARES, **more):
    return direct_share.estimate(answers(shares), WHO, **more)


def bound(share, moved, metric="level") -> LevelBound:
    """Level's part, known without error: every listener chose the louder by that much more than even."""
    who = np.repeat(np.arange(12), 100)
    chosen = np.tile((np.arange(100) < round(100 * (0.5 + moved))).astype(float), 12)
    controls = Controls(np.full(who.size, 2.0), chosen, who, np.tile([0.0, 1.0], who.size // 2))
    return level_bound.bound(share, WHO, np.full(WHO.size, 2.0), controls, metric=metric)


def test_more_is_supported_where_the_limit_is_above_even_chances_and_the_share_reaches_the_smallest():
    share = found()
    limits = reference.ttest_1samp(SHARES, 0.5).confidence_interval(0.90)
    assert (share.lower, share.upper) == pytest.approx((limits.low, limits.high), abs=1e-12)
    assert share_verdict.decide(share, "more", smallest=0.6999).word == "supported"
    assert share_verdict.decide(share, "more", smallest=0.7001).word == "undecided"
    assert share_verdict.decide(share, "more", smallest=limits.high + 0.001).word == "contradicted"


@pytest.mark.parametrize(("moved", "word"), [(0.05, "supported"), (0.09, "supported"), (0.11, "undecided")])
def test_the_share_less_level_must_reach_the_smallest_too(moved, word):
    """0.70 with 0.05, 0.09 or 0.11 of it by level, smallest 0.60; the lower limits are all above even."""
    share = found()
    made = bound(share, moved)
    assert [direct_share.lower_limit(one, 0.05) > 0.5 for one in made.lowered] == [True]
    decided = share_verdict.decide(share, "more", smallest=0.60, level=[made])
    assert decided.word == word
    assert decided.direct.word == "supported"
    assert decided.rejects  # of even chances or less: a step of the family goes on


def test_every_way_of_taking_level_must_reject_whichever_comes_last():
    share = found()
    little, much = bound(share, 0.02, "first"), bound(share, 0.30, "second")
    for ways in ([little, much], [much, little]):
        decided = share_verdict.decide(share, "more", smallest=0.60, level=ways)
        assert not decided.rejects
        assert decided.word == "undecided"
        assert "second" in decided.reason
    assert share_verdict.decide(share, "more", smallest=0.60, level=[little]).rejects


def test_the_p_value_of_more_is_that_of_the_way_that_says_least():
    share = found()
    ways = [bound(share, 0.02), bound(share, 0.12)]
    alone = [direct_share.p_above(one, 0.5) for way in ways for one in way.lowered]
    assert alone[1] > 5 * alone[0]
    for order in (ways, ways[::-1]):
        assert share_verdict.p_value(share, "more", smallest=0.60, level=order) == alone[1]
    # never below the chance that all of 12 lean one way; Student's t alone would say 2e-8
    assert share_verdict.p_value(share, "more", smallest=0.60) == pytest.approx(0.5**12, rel=1e-9)


@pytest.mark.parametrize("turned", [False, True], ids=["above even chances", "below"])
def test_the_p_value_of_same_is_that_of_the_nearer_border(turned):
    """Two one-sided tests: the larger p of a share at 0.85 or more, and at 0.15 or less."""
    shares = 1 - SHARES if turned else SHARES
    one_sided = reference.ttest_1samp(SHARES, 0.85, alternative="less").pvalue
    assert share_verdict.p_value(found(shares), "same", smallest=0.85) == pytest.approx(one_sided, abs=1e-12)


def test_same_is_judged_inside_both_borders():
    """Own shares of 0.50 on average, limits 0.474 and 0.526; `same` rejects down to the limit itself."""
    share = found(SHARES - 0.2)
    limits = reference.ttest_1samp(SHARES - 0.2, 0.5).confidence_interval(0.90)
    inside = share_verdict.decide(share, "same", smallest=limits.high + 0.001, outside_limit=0.25)
    outside = share_verdict.decide(share, "same", smallest=limits.high - 0.001, outside_limit=0.25)
    assert (inside.rejects, outside.rejects) == (True, False)
    leans = share_verdict.decide(found(SHARES - 0.3), "same", smallest=0.55, outside_limit=0.25)
    assert not leans.rejects  # 0.40: far below the other border


@pytest.mark.parametrize(("limit", "word"), [(0.3, "undecided"), (0.5, "supported"), (None, "undecided")])
def test_same_needs_a_limit_of_listeners_outside_that_holds(limit, word):
    """Seven or thirteen choices of twenty by each of twelve: up to some four in ten may lie outside 0.25."""
    share = found(np.where(np.arange(12) % 2, 0.35, 0.65))
    decided = share_verdict.decide(share, "same", smallest=0.75, outside_limit=limit)
    assert (decided.word, decided.direct.word, decided.outside_limit) == (word, word, limit)
    assert 0.3 < decided.outside_upper < 0.5


@pytest.mark.parametrize("ties", [0, 6])
def test_listeners_outside_are_counted_with_the_order_s_pull_and_the_ties(ties):
    """The exact limit for these counts: 8 of 10 chosen when heard first, 2 of 10 when second, some even."""
    first = np.tile(np.arange(EACH) % 2, 12)
    one = np.where(np.arange(EACH) % 2 == 1, np.arange(EACH) < 16, np.arange(EACH) < 4).astype(float)
    one[:ties] = 0.5
    share = direct_share.estimate(np.tile(one, 12), WHO, more_first=first)
    pull = (one[1::2].mean() - one[::2].mean()) / 2
    counts = listeners_outside.Counts(
        np.full(12, one.sum()), np.full((12, 2), EACH // 2), float(pull), ties / EACH
    )
    wanted = listeners_outside.upper_limit(counts, 0.05, delta=0.2, scored_for=0.25)
    decided = share_verdict.decide(share, "same", smallest=0.70, outside_limit=0.25)
    assert pull > 0.2
    assert decided.outside_upper == pytest.approx(wanted, abs=1e-8)
    assert decided.outside_limit == 0.25


def test_limits_are_taken_at_the_alpha_that_is_asked():
    share = found()
    decided = share_verdict.decide(share, "more", smallest=0.60, alpha=0.01)
    limits = reference.ttest_1samp(SHARES, 0.5).confidence_interval(0.98)
    assert (decided.alpha, decided.found.lower) == (0.01, pytest.approx(limits.low, abs=1e-12))


@pytest.mark.parametrize(
    ("kind", "smallest", "is_allowed"),
    [
        ("more", 0.5, True),
        ("more", 0.499, False),
        ("more", 1.0, False),
        ("same", 0.5, False),
        ("same", 0.501, True),
        ("same", 0.999, True),
    ],
)
def test_the_smallest_share_lies_above_even_chances_and_below_all(kind, smallest, is_allowed):
    if is_allowed:
        share_verdict.decide(found(), kind, smallest=smallest)
    else:
        with pytest.raises(StatsError, match=r"wanted above 0\.5, below 1"):
            share_verdict.decide(found(), kind, smallest=smallest)
