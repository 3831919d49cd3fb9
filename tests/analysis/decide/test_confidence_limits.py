"""Limits and tails from a likelihood: where it is a parabola they are those of Student's t."""

from types import SimpleNamespace

import pytest
from scipy import stats

from listening.analysis.decide import confidence_limits

ESTIMATE, SE = 0.8, 0.3


@pytest.fixture
def parabola(monkeypatch: pytest.MonkeyPatch):
    """A fit whose profile log-likelihood is that of a normal estimate."""
    monkeypatch.setattr(
        confidence_limits, "_loglik", lambda fit, value: -7.0 - 0.5 * ((value - ESTIMATE) / SE) ** 2
    )

    def fit(df: float, **changes: object) -> SimpleNamespace:
        usual = {"by_profile": True, "near_separation": False, "separated": False}
        return SimpleNamespace(estimate=ESTIMATE, se=SE, df=df, **usual | changes)

    return fit


@pytest.mark.parametrize("df", [7.0, 22.0])
@pytest.mark.parametrize("null", [0.0, 0.5, 1.5])
def test_tails_of_a_parabola_are_those_of_t(parabola, df, null):
    expected = stats.t.sf((ESTIMATE - null) / SE, df)
    (above,) = confidence_limits.tails(parabola(df), [null], side="above")
    (below,) = confidence_limits.tails(parabola(df), [null], side="below")
    assert above == pytest.approx(expected, rel=1e-9)
    assert below == pytest.approx(1 - expected, rel=1e-9)


@pytest.mark.parametrize("alpha", [0.05, 0.0125])
def test_bounds_of_a_parabola_are_those_of_t(parabola, alpha):
    found = confidence_limits.bounds(parabola(15.0), alpha)
    reach = stats.t.isf(alpha, 15.0) * SE
    tolerance = confidence_limits.TOLERANCE_LOGIT
    assert (found.lower, found.upper) == pytest.approx((ESTIMATE - reach, ESTIMATE + reach), abs=tolerance)
    assert found.by == confidence_limits.PROFILE


def test_near_separation_the_far_side_keeps_t_and_with_full_separation_none(parabola):
    near = confidence_limits.bounds(parabola(15.0, near_separation=True), 0.05)
    assert near.upper == pytest.approx(ESTIMATE + stats.t.isf(0.05, 15.0) * SE, rel=1e-9)
    full = confidence_limits.bounds(parabola(15.0, near_separation=True, separated=True), 0.05)
    assert full.upper == float("inf")
    assert full.lower == pytest.approx(near.lower)
