"""The truth table of the verdict: every cell, every edge, every refusal."""

import math

import pytest

from stats.deciding.verdict import MINIMUM_LISTENERS, decide
from stats.errors import StatsError

DELTA = 0.5
INF = math.inf

# estimate, lower, upper, word
MORE = [
    pytest.param(0.8, 0.2, 1.4, "supported", id="clear of zero, reaches delta"),
    pytest.param(0.5, 0.2, 0.8, "supported", id="estimate just reaches delta"),
    pytest.param(0.8, 0.6, 1.0, "supported", id="clear of delta"),
    pytest.param(INF, 0.1, INF, "supported", id="all listeners agree: only the lower limit is finite"),
    pytest.param(0.8, 0.0, 1.6, "undecided", id="lower bound at zero is not above it"),
    pytest.param(0.8, -0.2, 1.8, "undecided", id="large but uncertain"),
    pytest.param(0.3, 0.1, 0.5, "undecided", id="above zero, below delta, upper bound at delta"),
    pytest.param(0.4, 0.1, 0.7, "undecided", id="above zero, may matter"),
    pytest.param(0.1, -0.6, 0.8, "undecided", id="nothing known"),
    pytest.param(-0.2, -0.9, 0.5, "undecided", id="upper bound at delta is not below it"),
    pytest.param(0.0, -INF, INF, "undecided", id="no bounds at all"),
    pytest.param(0.3, 0.2, 0.4, "contradicted", id="heard, but too small to matter"),
    pytest.param(0.1, -0.2, 0.4, "contradicted", id="too small to matter"),
    pytest.param(-0.8, -1.4, -0.2, "contradicted", id="the other way round"),
    pytest.param(-INF, -INF, -0.1, "contradicted", id="all listeners disagree"),
]

# estimate, lower, upper, share, limit, word
SAME = [
    pytest.param(0.0, -0.3, 0.3, 0.1, 0.2, "supported", id="inside, panel of one mind"),
    pytest.param(0.3, 0.1, 0.49, 0.1, 0.2, "supported", id="a difference too small to matter"),
    pytest.param(0.0, -0.3, 0.3, 0.2, 0.2, "undecided", id="share at its limit is not below it"),
    pytest.param(0.0, -0.3, 0.3, 0.4, 0.2, "undecided", id="a split panel is not the same"),
    pytest.param(0.0, -0.3, 0.3, None, 0.2, "undecided", id="share not estimated"),
    pytest.param(0.0, -0.3, 0.3, 0.1, None, "undecided", id="share not limited"),
    pytest.param(0.0, -0.5, 0.3, 0.1, 0.2, "undecided", id="lower bound at -delta"),
    pytest.param(0.0, -0.3, 0.5, 0.1, 0.2, "undecided", id="upper bound at delta"),
    pytest.param(0.0, -0.9, 0.3, 0.1, 0.2, "undecided", id="leaves on the left"),
    pytest.param(0.6, 0.3, 0.9, 0.1, 0.2, "undecided", id="leaves on the right"),
    pytest.param(0.0, -INF, INF, 0.1, 0.2, "undecided", id="no bounds at all"),
    pytest.param(0.8, 0.5, 1.1, 0.1, 0.2, "undecided", id="lower bound at delta is not outside"),
    pytest.param(0.8, 0.6, 1.1, 0.1, 0.2, "contradicted", id="wholly above"),
    pytest.param(-0.8, -1.1, -0.6, 0.1, 0.2, "contradicted", id="wholly below"),
    pytest.param(INF, 0.6, INF, None, None, "contradicted", id="all listeners hear it"),
]


@pytest.mark.parametrize(("estimate", "lower", "upper", "word"), MORE)
def test_more_follows_its_truth_table(estimate: float, lower: float, upper: float, word: str) -> None:
    assert decide("more", estimate, lower, upper, delta=DELTA, n_listeners=24).word == word


@pytest.mark.parametrize(("estimate", "lower", "upper", "share", "limit", "word"), SAME)
def test_same_follows_its_truth_table(
    estimate: float, lower: float, upper: float, share: float | None, limit: float | None, word: str
) -> None:
    verdict = decide(
        "same",
        estimate,
        lower,
        upper,
        delta=DELTA,
        n_listeners=24,
        share_outside_upper=share,
        share_outside_limit=limit,
    )
    assert verdict.word == word
    assert verdict.is_supported == (word == "supported")


@pytest.mark.parametrize("n_listeners", [0, 1, MINIMUM_LISTENERS - 1])
@pytest.mark.parametrize("kind", ["more", "same"])
def test_a_small_panel_gets_no_verdict_whatever_it_says(kind: str, n_listeners: int) -> None:
    verdict = decide(kind, 2.0, 1.0, 3.0, delta=DELTA, n_listeners=n_listeners)  # type: ignore[arg-type]
    assert verdict.word == "no verdict"
    assert str(MINIMUM_LISTENERS) in verdict.reason


def test_eight_listeners_are_enough() -> None:
    assert MINIMUM_LISTENERS == 8
    assert decide("more", 2.0, 1.0, 3.0, delta=DELTA, n_listeners=8).word == "supported"


@pytest.mark.parametrize(("estimate", "lower", "upper", "share", "limit", "word"), SAME)
def test_same_does_not_depend_on_the_direction(
    estimate: float, lower: float, upper: float, share: float | None, limit: float | None, word: str
) -> None:
    turned = decide(
        "same",
        -estimate,
        -upper,
        -lower,
        delta=DELTA,
        n_listeners=24,
        share_outside_upper=share,
        share_outside_limit=limit,
    )
    assert turned.word == word


def test_an_effect_is_never_supported_in_both_directions() -> None:
    values = [-INF, -0.7, -0.5, -0.2, 0.0, 0.2, 0.5, 0.7, INF]
    for lower in values:
        for estimate in (v for v in values if v >= lower):
            for upper in (v for v in values if v >= estimate):
                more = decide("more", estimate, lower, upper, delta=DELTA, n_listeners=24).word
                less = decide("more", -estimate, -upper, -lower, delta=DELTA, n_listeners=24).word
                assert (more, less) != ("supported", "supported")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"estimate": math.nan}, "estimate is not a number"),
        ({"lower": math.nan}, "lower limit is not a number"),
        ({"upper": math.nan}, "upper limit is not a number"),
        ({"delta": math.nan}, "smallest effect is not a number"),
        ({"lower": 1.0, "upper": 0.2}, "wanted lower <= estimate <= upper"),
        ({"estimate": 3.0}, "wanted lower <= estimate <= upper"),
        ({"delta": -0.1}, "wanted 0 or more"),
        ({"delta": INF}, "finite"),
        ({"kind": "same", "delta": 0.0}, "wanted above 0"),
        ({"kind": "louder"}, "wanted one of more, same"),
        ({"n_listeners": -1}, "wanted 0 or more"),
        ({"kind": "same", "share_outside_upper": 1.1}, "wanted 0 to 1"),
        ({"kind": "same", "share_outside_limit": -0.1}, "wanted 0 to 1"),
        ({"kind": "same", "share_outside_upper": math.nan}, "wanted 0 to 1"),
    ],
)
def test_numbers_that_cannot_be_decided_are_refused(change: dict[str, float], message: str) -> None:
    given: dict[str, object] = {
        "kind": "more",
        "estimate": 0.8,
        "lower": 0.2,
        "upper": 1.4,
        "delta": DELTA,
        "n_listeners": 24,
    }
    with pytest.raises(StatsError, match=message):
        decide(**(given | change))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("bounds", "said"),
    [
        ((0.8, 0.2, 1.4), "the lower limit is above zero and the estimate reaches"),
        ((0.3, 0.1, 0.9), "above zero but the estimate is below the smallest effect"),
        ((0.8, 0.0, 1.6), "the lower limit is not above zero and the upper limit reaches"),
        ((0.1, -0.2, 0.4), "the upper limit is below the smallest effect"),
    ],
)
def test_the_reason_names_the_limit_that_decides(bounds, said):
    estimate, lower, upper = bounds
    assert said in decide("more", estimate, lower, upper, delta=DELTA, n_listeners=24).reason
