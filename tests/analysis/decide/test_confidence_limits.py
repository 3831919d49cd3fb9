"""Limits and tails from a likelihood: where it is a parabola they are those of Student's t."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from listening.analysis.decide import confidence_limits, contrast
from stats.errors import NotConverged

ESTIMATE, SE = 0.8, 0.3


@pytest.fixture
def parabola(monkeypatch: pytest.MonkeyPatch):
    """A fit whose profile log-likelihood is that of a normal estimate."""
    monkeypatch.setattr(
        confidence_limits, "_loglik", lambda fit, value: -7.0 - 0.5 * ((value - ESTIMATE) / SE) ** 2
    )

    def fit(df: float, **changes: object) -> SimpleNamespace:
        usual = {"by_profile": True, "near_separation": False, "separated": False}
        return SimpleNamespace(**{"estimate": ESTIMATE, "se": SE, "df": df} | usual | changes)

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


def test_without_a_profile_the_bounds_are_those_of_t(parabola):
    found = confidence_limits.bounds(parabola(15.0, by_profile=False, se=0.6), 0.05)
    reach = stats.t.isf(0.05, 15.0) * 0.6
    assert (found.lower, found.upper) == pytest.approx((ESTIMATE - reach, ESTIMATE + reach), rel=1e-12)
    assert found.by == confidence_limits.T


@pytest.mark.parametrize("estimate", [ESTIMATE, 0.0, -ESTIMATE])
def test_near_separation_the_likelihood_bounds_the_side_towards_zero_alone(parabola, monkeypatch, estimate):
    """A likelihood half as wide as Student's t says; an estimate of 0 has its upper side towards 0."""
    monkeypatch.setattr(
        confidence_limits, "_loglik", lambda fit, value: -0.5 * ((value - estimate) / (SE / 2)) ** 2
    )
    found = confidence_limits.bounds(parabola(15.0, estimate=estimate, near_separation=True), 0.05)
    wide, narrow = (stats.t.isf(0.05, 15.0) * se for se in (SE, SE / 2))
    below, above = (narrow, wide) if estimate > 0 else (wide, narrow)
    assert (found.lower, found.upper) == pytest.approx(
        (estimate - below, estimate + above), abs=confidence_limits.TOLERANCE_LOGIT
    )


def test_bounds_that_are_moved_keep_their_distance():
    moved = confidence_limits.Bounds(-1.0, 2.5, confidence_limits.T).moved(0.5)
    assert (moved.lower, moved.upper, moved.by) == (-0.5, 3.0, confidence_limits.T)


def test_a_null_at_the_estimate_is_passed_by_half(parabola):
    assert confidence_limits.tails(parabola(15.0), [ESTIMATE], side="above") == [0.5]
    assert confidence_limits.tails(parabola(15.0), [ESTIMATE], side="below") == [0.5]


def test_where_the_likelihood_still_rises_outward_its_highest_place_counts(parabola, monkeypatch):
    """Highest 10 logits further out, where the limit towards zero would pass the estimate; it does not."""
    monkeypatch.setattr(
        confidence_limits, "_loglik", lambda fit, value: -0.5 * (value - ESTIMATE - 10.0) ** 2
    )
    fit = parabola(15.0, near_separation=True)
    assert confidence_limits._top(fit) == pytest.approx((ESTIMATE + 10.0, 0.0))
    assert confidence_limits.bounds(fit, 0.05).lower == ESTIMATE
    monkeypatch.setattr(
        confidence_limits, "_loglik", lambda fit, value: -0.5 * (value + ESTIMATE + 10.0) ** 2
    )
    assert confidence_limits.bounds(parabola(15.0, near_separation=True, estimate=-ESTIMATE), 0.05).upper == (
        -ESTIMATE
    )


@pytest.mark.parametrize("last_bits", [0.0, 1e-9, -1e-9])
def test_where_the_likelihood_is_flat_outward_the_last_bits_pick_no_place(parabola, monkeypatch, last_bits):
    """Level from the estimate on: else where the search begins, and with it the limit, is the processor's."""

    def loglik(fit, value):
        beyond = max(value - ESTIMATE, 0.0)
        return -0.5 * (min(value - ESTIMATE, 0.0) / SE) ** 2 + last_bits * beyond

    monkeypatch.setattr(confidence_limits, "_loglik", loglik)
    fit = parabola(15.0, near_separation=True)
    assert confidence_limits._top(fit)[0] == ESTIMATE
    limit = ESTIMATE - stats.t.isf(0.05, 15.0) * SE
    assert confidence_limits.bounds(fit, 0.05).lower == pytest.approx(limit, abs=2e-6)


def test_a_fit_that_fails_further_out_is_left_out_and_one_at_the_estimate_gives_way_to_t(
    parabola, monkeypatch
):
    def fails_beyond(place):
        def loglik(fit, value):
            if value > place:
                raise NotConverged("no step")
            return -0.5 * ((value - ESTIMATE) / SE) ** 2

        return loglik

    monkeypatch.setattr(confidence_limits, "_loglik", fails_beyond(ESTIMATE + 3.0))
    fit = parabola(15.0, near_separation=True)
    assert confidence_limits._top(fit) == (ESTIMATE, 0.0)
    assert confidence_limits.bounds(fit, 0.05).by == confidence_limits.PROFILE
    monkeypatch.setattr(confidence_limits, "_loglik", fails_beyond(ESTIMATE - 1.0))
    found, reach = confidence_limits.bounds(fit, 0.05), stats.t.isf(0.05, 15.0) * SE
    assert (found.lower, found.upper) == pytest.approx((ESTIMATE - reach, ESTIMATE + reach), rel=1e-12)
    assert found.by == confidence_limits.T
    (above,) = confidence_limits.tails(fit, [0.0], side="above")
    assert above == pytest.approx(stats.t.sf(ESTIMATE / SE, 15.0), rel=1e-12)


def test_the_likelihood_with_the_contrast_held_is_highest_near_its_estimate(panel):
    """And falls about as that of a normal estimate does, on either side."""
    table = panel(np.random.default_rng(4), {"a": 0.0, "b": 0.8}, strikes=3, control_gains_db=())
    fit = contrast.fit(contrast.design(table, more="b", than="a"))
    assert fit.estimate > fit.se
    held, above, below = (
        confidence_limits._loglik(fit, fit.estimate + move * fit.se) for move in (0.0, 1.0, -1.0)
    )
    assert 0.2 < held - above < 1.0
    assert 0.2 < held - below < 1.0
