"""A claimed ratio: both the measured ratio and the answers must bear it."""

from types import SimpleNamespace

import pytest

from listening.analysis.decide import planned_ratio
from listening.records.protocols.protocol import Protocol, Question
from listening.records.sounds.measured import MeasuredRecording, Measures

LONG, SHORT = [1.235855, 1.234452, 1.237195], [0.813008, 0.805901, 0.827088]
# R 4.2.2, t.test of the logarithms, conf.level 0.9: ratio 1.5158, limits 1.4827 to 1.5497


def question(**changes: object) -> Question:
    planned = {
        "id": "q",
        "kind": "more",
        "attribute": "ringing",
        "presentation": "matched",
        "contrast": {"more": "f", "than": "e"},
        "smallest_effect": 0.6,
        "claimed_ratio": 1.4,
        "metric": "decay_s",
    }
    return Question.model_validate(planned | changes)


def measures(long: list[float], short: list[float], units: int = 1) -> Measures:
    rows = [
        MeasuredRecording(
            recording=f"{condition}{i}",
            condition=condition,
            strike=str(i),
            unit=str(i % units),
            calibrated=True,
            measures={"decay_s": value},
        )
        for condition, values in (("f", long), ("e", short))
        for i, value in enumerate(values)
    ]
    return Measures(version="test", protocol_digest="0" * 64, recordings=tuple(rows), spreads=())


@pytest.mark.parametrize(
    ("claimed", "measured"), [(1.4, "supported"), (1.5, "undecided"), (1.55, "contradicted")]
)
def test_the_measured_half_is_decided_by_the_limits_of_the_ratio(claimed: float, measured: str) -> None:
    found = planned_ratio.finding(question(claimed_ratio=claimed), "supported", measures(LONG, SHORT))
    assert (found.measured, found.word) == (measured, measured)
    assert found.ratio is not None
    assert found.ratio.value == pytest.approx(1.5158, abs=5e-5)
    assert (found.ratio.lower, found.ratio.upper) == pytest.approx((1.4827, 1.5497), abs=5e-5)


@pytest.mark.parametrize("heard", ["contradicted", "undecided", "no verdict"])
def test_a_ratio_that_is_not_heard_is_no_claim(heard: planned_ratio.Word) -> None:
    found = planned_ratio.finding(question(), heard, measures(LONG, SHORT))
    assert (found.measured, found.word) == ("supported", heard)
    assert heard in found.reason


def test_without_measures_a_claimed_ratio_is_open() -> None:
    for given in (None, measures([], [])):
        found = planned_ratio.finding(question(), "supported", given)
        assert (found.word, found.ratio) == ("undecided", None)
        assert "listening measure" in found.reason
    found = planned_ratio.finding(question(), "supported", measures(LONG[:1], SHORT))
    assert "1 and 3 strikes were measured, at least 2 each" in found.reason


def test_several_specimens_of_a_product_count_as_specimens_not_as_strikes() -> None:
    found = planned_ratio.finding(question(), "supported", measures(LONG + LONG, SHORT + SHORT, units=3))
    assert (found.sampled, found.n_more, found.n_than) == ("specimens", 3, 3)
    assert found.ratio is not None
    assert found.ratio.lower == pytest.approx(1.4827, abs=5e-5)  # twice the strikes make no unit more


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"metric": None}, "go together"),
        ({"claimed_ratio": 1.0}, "greater than 1"),
        ({"metric": "laf_max_db"}, "no ratio that could be claimed"),
        ({"kind": "same"}, 'belongs to kind "more"'),
    ],
)
def test_a_claimed_ratio_is_planned_of_what_has_a_ratio(changes: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        question(**changes)


def test_a_claimed_ratio_of_what_the_presentation_holds_equal_is_refused() -> None:
    raw = {
        "format": 1,
        "name": "made-up",
        "title": "Made up for a test",
        "seed": 1,
        "recordings": {"folder": "nowhere", "factors": ["design"]},
        "panel": {"stands_for": "nobody, made up", "training": "naive", "listeners": 12},
        "presentations": [{"name": "matched", "metric": "nmax_sone"}],
        "attributes": [{"name": "ringing", "wording": "Which rings longer?", "comparative": "longer"}],
        "blocks": [{"attribute": "ringing", "presentation": "matched"}],
        "sitting": {"welcome": "Welcome.", "consent": "I agree."},
        "questions": [question(metric="nmax_sone").model_dump()],
    }
    with pytest.raises(ValueError, match="which the presentation `matched` holds equal"):
        Protocol.model_validate(raw)


@pytest.mark.parametrize(
    ("lower", "upper", "word"),
    [(2.0, 3.0, "supported"), (1.99, 3.0, "undecided"), (1.5, 2.0, "undecided"), (1.5, 1.99, "contradicted")],
)
def test_a_limit_that_is_the_factor_itself(lower: float, upper: float, word: str) -> None:
    """The rule as planned: reached counts as supported, and only a limit below it as contradicted."""

    assert planned_ratio._measured(2.0, SimpleNamespace(lower=lower, upper=upper))[0] == word
