"""Level by monotony: bounded by control pairs at or above the residual, whatever the shape."""

import numpy as np
import pytest
from scipy.stats import binom

from stats.deciding import direct_share, level_bound, planned_pair, share_verdict
from stats.deciding.level_bound import Controls
from stats.errors import BadData
from tests import level_truth

TRUTHS = {truth.name: truth for truth in level_truth.LEVEL_TRUTHS}


def panel(share, n_listeners=24, n_answers=20):
    """Answers with `share` of choices from every listener, order even."""
    chosen = np.tile((np.arange(n_answers) < round(share * n_answers)).astype(float), n_listeners)
    first = np.tile(np.arange(n_answers) % 2, n_listeners)
    return chosen, np.repeat(np.arange(n_listeners), n_answers), first


def controls(gain_db, share, n_listeners=24, n_answers=20):
    chosen, who, first = panel(share, n_listeners, n_answers)
    return Controls(np.full(who.size, gain_db), chosen, who, first.astype(float))


def bound(share, residual_db, made):
    chosen, who, first = panel(share)
    found = direct_share.estimate(chosen, who, more_first=first)
    return level_bound.bound(found, who, np.broadcast_to(residual_db, who.shape), made)


def test_the_share_less_level_is_less_what_the_next_gain_moves():
    made = bound(0.9, 1.5, controls(2.0, 0.7))
    assert made.lowered[0].share == pytest.approx(0.9 - (0.7 - 0.5))
    assert made.gains[0].gain_db == 2.0
    assert made.unbounded == 0


def test_both_errors_are_in_the_limits_and_shared_listeners_are_paired():
    """A listener's direct share less control share, by hand: Student's t of the differences."""
    rng = np.random.default_rng(4)
    who = np.repeat(np.arange(12), 20)
    own, level = rng.uniform(0.5, 0.9, 12), rng.uniform(0.4, 0.8, 12)
    direct, louder = (rng.random(240) < own[who]).astype(float), (rng.random(240) < level[who]).astype(float)
    found = direct_share.estimate(direct, who)
    even = np.tile([0.0, 1.0], 120)
    made = level_bound.bound(found, who, np.ones(240), Controls(np.ones(240), louder, who, even))
    order = (louder.reshape(12, 10, 2).mean(axis=1) @ [-0.5, 0.5]).mean()
    assert order == pytest.approx(0.0, abs=0.1)  # balanced: takes nothing off
    left = direct.reshape(12, 20).mean(axis=1) - louder.reshape(12, 20).mean(axis=1) + 0.5
    assert made.lowered[0].share == pytest.approx(left.mean(), abs=1e-12)
    assert made.lowered[0].se == pytest.approx(left.std(ddof=1) / np.sqrt(12), abs=1e-12)


def test_without_a_gain_at_the_residual_nothing_is_supported_and_the_reason_says_so():
    made = bound(0.95, 4.0, controls(2.0, 0.55))
    chosen, who, first = panel(0.95)
    found = direct_share.estimate(chosen, who, more_first=first)
    decided = share_verdict.decide(found, "more", smallest=0.6, level=[made])
    assert made.unbounded == pytest.approx(1.0)
    (nothing,) = made.gains
    assert (nothing.gain_db, nothing.share, nothing.listeners) == (None, 1.0, 0)
    assert (decided.direct.word, decided.word) == ("supported", "undecided")
    assert "no control gain is at or above" in decided.reason
    assert "up to 4 dB" in decided.reason


def test_a_gain_just_below_the_residual_by_what_strikes_measure_still_bounds():
    assert bound(0.9, 1.55, controls(1.5, 0.6)).unbounded == 0
    assert bound(0.9, 1.8, controls(1.5, 0.6)).unbounded == pytest.approx(1.0)


def test_level_that_works_against_does_not_contradict():
    """`more` is 3 dB softer and the louder is chosen: a share of 0.5 may be 0.8 at equal level."""
    chosen, who, first = panel(0.5)
    found = direct_share.estimate(chosen, who, more_first=first)
    made = level_bound.bound(found, who, np.full(who.size, -3.0), controls(3.0, 0.8))
    decided = share_verdict.decide(found, "more", smallest=0.6, level=[made])
    assert (decided.direct.word, decided.word) == ("contradicted", "undecided")


def test_the_smallest_gain_that_reaches_is_taken_for_each_trial():
    chosen, who, first = panel(0.9)
    found = direct_share.estimate(chosen, who, more_first=first)
    residual = np.where(np.arange(who.size) % 20 < 10, 0.5, 2.5)
    low, high = controls(1.0, 0.6), controls(3.0, 0.8)
    both = Controls(*(np.concatenate([getattr(low, f), getattr(high, f)]) for f in low.__dataclass_fields__))
    made = level_bound.bound(found, who, residual, both)
    assert made.lowered[0].share == pytest.approx(0.9 - 0.5 * 0.1 - 0.5 * 0.3)


@pytest.mark.parametrize(
    ("residual_db", "louder_chosen", "shown"),
    [(1.5, 0.7, 0.4), (1.5, 0.3, 0.8), (-1.5, 0.7, 0.8), (-1.5, 0.3, 0.4)],
    ids=["louder, chosen more", "louder, chosen less", "softer, louder chosen", "softer, softer chosen"],
)
def test_level_s_part_goes_the_way_that_the_control_pairs_went(residual_db, louder_chosen, shown):
    """0.6 of the choices, of which level moved 0.2 one way or the other; the same for both limits."""
    made = bound(0.6, residual_db, controls(2.0, louder_chosen))
    assert [one.share for one in made.lowered] == [pytest.approx(shown)]
    assert [one.share for one in made.raised] == [pytest.approx(shown)]
    (gain,) = made.gains
    assert (gain.louder_more, gain.louder_than) == pytest.approx(
        (1.0, 0.0) if residual_db > 0 else (0.0, 1.0)
    )
    assert made.residual_db == pytest.approx(residual_db)


@pytest.mark.parametrize(("share", "louder_chosen", "left"), [(0.05, 0.95, 0.0), (0.95, 0.05, 1.0)])
def test_a_share_stays_between_none_and_all(share, louder_chosen, left):
    assert bound(share, 1.0, controls(1.0, louder_chosen)).lowered[0].share == left


def test_control_listeners_all_of_one_share_still_leave_that_share_uncertain():
    """No listener differs from another, so the answers' own spread counts: 0.7 times 0.3 over 480."""
    chosen, who, first = panel(0.9)
    found = direct_share.estimate(chosen, who, more_first=first)
    made = level_bound.bound(found, who, np.full(who.size, 1.0), controls(1.0, 0.7))
    extra = made.lowered[0].variance_listeners - found.variance_listeners
    assert extra == pytest.approx(0.7 * 0.3 / 480, rel=1e-9)


def test_the_answers_own_spread_counts_by_the_square_of_its_weight():
    """Half of the comparisons lie at the gain: a quarter of the variance 0.7 times 0.3 over 480."""
    chosen, who, first = panel(0.9)
    found = direct_share.estimate(chosen, who, more_first=first)
    residual = np.where(np.arange(who.size) % 2, 1.0, 0.0)
    made = level_bound.bound(found, who, residual, controls(1.0, 0.7))
    extra = made.lowered[0].variance_listeners - found.variance_listeners
    assert extra == pytest.approx(0.25 * 0.7 * 0.3 / 480, rel=1e-9)


@pytest.mark.parametrize(("heard_by", "df"), [(10, 9), (24, 23), (30, 23)])
def test_degrees_of_freedom_are_those_of_whoever_fewer_listeners_answered(heard_by, df):
    made = bound(0.9, 1.0, controls(1.0, 0.7, n_listeners=heard_by))
    assert [one.df_listeners for one in (*made.lowered, *made.raised)] == [df, df]


def varied(seed, n=12):
    """A panel of direct answers and control answers whose shares differ from listener to listener."""
    rng = np.random.default_rng(seed)
    who = np.repeat(np.arange(n), 20)
    direct, louder = (
        np.concatenate([rng.permutation(np.arange(20) < k) for k in rng.integers(3, 18, n)]).astype(float)
        for _ in range(2)
    )
    return who, direct, louder


def test_both_errors_are_in_the_raised_share_too():
    """`more` is softer, the louder is chosen: raised, each listener's own by the own control share."""
    who, direct, louder = varied(6)
    found = direct_share.estimate(direct, who)
    even = np.tile([0.0, 1.0], who.size // 2)
    made = level_bound.bound(found, who, np.full(who.size, -1.0), Controls(np.ones(240), louder, who, even))
    own = direct.reshape(12, 20).mean(axis=1) + louder.reshape(12, 20).mean(axis=1) - 0.5
    (raised,) = made.raised
    assert raised.share == pytest.approx(min(own.mean(), 1.0), abs=1e-12)
    assert raised.se == pytest.approx(own.std(ddof=1) / np.sqrt(12), abs=1e-12)


def test_strikes_stay_in_the_share_less_level():
    who, direct, louder = varied(7)
    strikes = np.tile(np.arange(20) % 3, 12)
    moved = np.where(strikes == 0, 1.0, direct)  # one strike is always chosen
    found = direct_share.estimate(moved, who, strike_more=strikes)
    even = np.tile([0.0, 1.0], who.size // 2)
    made = level_bound.bound(found, who, np.ones(who.size), Controls(np.ones(240), louder, who, even))
    (lowered,) = made.lowered
    assert found.variance_strikes > 0.001
    assert lowered.variance_strikes == found.variance_strikes
    assert lowered.se**2 == pytest.approx(lowered.variance_listeners + found.variance_strikes, rel=1e-12)


def test_every_listener_weighs_the_same_however_many_answers_they_gave():
    """One listener in two met the pair 30 times with 1 dB left over, the others 10 times at even level."""
    who = np.concatenate([np.repeat(n, 30 if n % 2 else 10) for n in range(24)])
    chosen = np.concatenate([np.arange(30 if n % 2 else 10) % 5 != 0 for n in range(24)]).astype(float)
    found = direct_share.estimate(chosen, who)
    made = level_bound.bound(found, who, np.where(who % 2, 1.0, 0.0), controls(1.0, 0.7))
    assert made.residual_db == pytest.approx(0.5)
    assert [one.share for one in made.lowered] == [pytest.approx(found.share - 0.5 * 0.2)]
    assert [(gain.louder_more, gain.louder_than) for gain in made.gains] == [(pytest.approx(0.5), 0.0)]


@pytest.mark.parametrize("name", ["saturates, gains 3 and 6", "step at 1 dB, gain as the residual"])
def test_level_alone_is_not_taken_for_more(name):
    rng = np.random.default_rng(20261127)
    studies = [level_truth.draw(TRUTHS[name], listeners=12, strikes=3, rng=rng) for _ in range(60)]
    words = [planned_pair.judge(one, "b", "a", kind="more", smallest=0.55) for one in studies]
    assert sum(w.decided.direct.word == "supported" for w in words) > 30  # level is heard
    assert sum(w.word == "supported" for w in words) <= binom.ppf(0.999, 60, 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("listeners", [8, 24, 48])
@pytest.mark.parametrize("name", TRUTHS)
def test_level_alone_is_not_taken_for_more_in_many_panels(name, listeners):
    rng = np.random.default_rng([20261127, listeners])
    n = 1000
    words = [
        planned_pair.judge(
            level_truth.draw(TRUTHS[name], listeners=listeners, strikes=3, rng=rng),
            "b", "a", kind="more", smallest=0.55,
        ).word
        for _ in range(n)
    ]  # fmt: skip
    assert words.count("supported") <= binom.ppf(0.99, n, 0.05)


def test_a_gain_of_zero_or_a_residual_that_is_no_number_is_refused():
    chosen, who, first = panel(0.6)
    found = direct_share.estimate(chosen, who, more_first=first)
    with pytest.raises(BadData, match="gains above 0 dB"):
        level_bound.bound(found, who, np.ones(who.size), controls(0.0, 0.5))
    with pytest.raises(BadData, match="finite residual"):
        level_bound.bound(found, who, np.full(who.size, np.nan), controls(1.0, 0.5))
