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
