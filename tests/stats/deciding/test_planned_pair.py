"""A table of raw answers judged: turned rows, control pairs and levels, by hand."""

import numpy as np
import pytest

from stats.deciding import direct_share, planned_pair
from stats.deciding.planned_pair import Comparisons
from stats.errors import BadData

N, EACH = 12, 12
WHO = np.repeat(np.arange(N), EACH).astype(str)
FIRST = np.tile([True, False], N * EACH // 2)  # whether `b` was heard first
STRIKES = np.tile(np.repeat(np.arange(3), 2), N * EACH // 6), np.tile(np.arange(3).repeat(4), N)
CHOSE_B = (np.random.default_rng(4).random(N * EACH) < 0.6 + 0.1 * STRIKES[0] - 0.1 * STRIKES[1]).astype(
    float
)
RESIDUAL_DB = np.where(STRIKES[0] > 1, 1.0, -0.5)  # of b above a


def comparisons(**changes) -> Comparisons:
    """b against a, in both orders, then control pairs of a: 1.5 dB louder, chosen 8 times in 10."""
    gain = np.tile([1.5, -1.5], N * 10 // 2)
    louder = np.tile(np.arange(10) < 8, N).astype(float)
    made = {
        "listener": np.concatenate([WHO, np.repeat(np.arange(N), 10).astype(str)]),
        "first": np.concatenate([np.where(FIRST, "b", "a"), np.full(N * 10, "a")]),
        "second": np.concatenate([np.where(FIRST, "a", "b"), np.full(N * 10, "a")]),
        "chosen": np.concatenate(
            [np.where(FIRST, CHOSE_B, 1 - CHOSE_B), np.where(gain > 0, louder, 1 - louder)]
        ),
        "strike_first": np.concatenate([np.where(FIRST, *STRIKES), np.zeros(N * 10, int)]).astype(str),
        "strike_second": np.concatenate([np.where(FIRST, *STRIKES[::-1]), np.zeros(N * 10, int)]).astype(str),
        "level_db": {"level": np.concatenate([np.where(FIRST, RESIDUAL_DB, -RESIDUAL_DB), gain])},
    }
    return Comparisons(**{**made, **changes})


def judged(table: Comparisons, more: str = "b", than: str = "a"):
    return planned_pair.judge(table, more, than, kind="more", smallest=0.55)


def test_rows_are_turned_with_their_strikes_and_orders():
    found = judged(comparisons()).decided.found
    plain = direct_share.estimate(
        CHOSE_B, WHO, strike_more=STRIKES[0], strike_than=STRIKES[1], more_first=FIRST.astype(float)
    )
    assert plain.variance_strikes > 0
    for name in ("share", "lower", "upper", "variance_strikes", "df_strikes", "order"):
        assert getattr(found, name) == pytest.approx(getattr(plain, name), rel=1e-12), name


def test_levels_are_turned_with_the_rows_and_controls_to_the_louder():
    (level,) = judged(comparisons()).decided.level
    assert level.residual_db == pytest.approx(RESIDUAL_DB.mean())
    assert level.largest_db == 1.0
    (gain,) = level.gains
    assert gain.gain_db == pytest.approx(1.5)
    assert gain.share == pytest.approx(0.8)
    assert (gain.louder_more, gain.louder_than) == (
        pytest.approx((RESIDUAL_DB > 0).mean()),
        pytest.approx((RESIDUAL_DB < 0).mean()),
    )


def test_the_two_named_the_other_way_round_turn_the_share():
    one, other = judged(comparisons()), judged(comparisons(), "a", "b")
    assert other.share == pytest.approx(1 - one.share, abs=1e-12)
    assert (other.lower, other.upper) == (
        pytest.approx(1 - one.upper, abs=1e-12),
        pytest.approx(1 - one.lower, abs=1e-12),
    )
    assert (other.of, other.listeners) == (one.of, one.listeners) == (N * EACH, N)


def test_no_residual_needs_no_control_and_an_unknown_one_is_told():
    every = comparisons()
    even = np.where(every.first == every.second, every.level_db["level"], 0.0)
    assert judged(comparisons(level_db={"level": even})).decided.level == ()
    unknown = np.where(every.first == every.second, every.level_db["level"], np.nan)
    found = judged(comparisons(level_db={"level": unknown}))
    assert found.decided.level == ()
    assert [line for line in found.warnings if line.startswith("level")]
    partly = np.where(np.arange(every.first.size) == 0, np.nan, every.level_db["level"])
    with pytest.raises(BadData, match="all or none"):
        judged(comparisons(level_db={"level": partly}))


def test_a_single_listener_bears_no_verdict_and_has_a_share():
    every = comparisons()
    alone = np.isin(every.listener, ["0"])
    fields = {name: getattr(every, name)[alone] for name in ("listener", "first", "second", "chosen")}
    found = planned_pair.judge(Comparisons(**fields), "b", "a", kind="more", smallest=0.55)
    assert (found.word, found.decided, found.df, found.listeners) == ("no verdict", None, None, 1)
    assert found.share == pytest.approx(CHOSE_B[:EACH].mean())
    assert (found.lower, found.upper) == (0.0, 1.0)


@pytest.mark.parametrize("gain_db", [0.0, 1.0, -1.0])
def test_a_control_pair_without_a_gain_is_none_and_one_of_a_decibel_is(gain_db):
    """Some of the control pairs have another gain than the rest."""
    every = comparisons()
    control = every.first == every.second
    level = np.where(control & (np.arange(control.size) % 4 > 1), gain_db, every.level_db["level"])
    (found,) = judged(comparisons(level_db={"level": level})).decided.level
    bounding = [gain.gain_db for gain in found.gains]
    assert bounding == [pytest.approx(1.5 if gain_db == 0.0 else 1.0)]


def test_other_pairs_are_counted_by_name_whichever_was_heard_first():
    """Three answers on c and a, by two listeners: a was chosen over c once and a half."""
    every = comparisons()
    more = {
        "listener": ["0", "1", "1"],
        "first": ["c", "a", "c"],
        "second": ["a", "c", "a"],
        "chosen": [0.0, 0.5, 1.0],
    }
    joined = {name: np.concatenate([getattr(every, name), values]) for name, values in more.items()}
    found = planned_pair.judge(Comparisons(**joined), "b", "a", kind="more", smallest=0.55)
    (other,) = found.others
    assert (other.first, other.second, other.chosen, other.of, other.listeners) == ("a", "c", 1.5, 3, 2)
