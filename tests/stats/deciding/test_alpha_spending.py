"""Bounds of looks before the end: published values, other ways to the same number, the error they keep."""

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from stats.deciding import alpha_spending
from stats.errors import StatsError

PUBLISHED = tomllib.loads((Path(__file__).resolve().parents[2] / "published/alpha_spending.toml").read_text())


@pytest.mark.parametrize("design", PUBLISHED["designs"], ids=lambda d: f"{d['kind']}-{d['sides']}")
def test_bounds_are_the_published_ones(design: dict[str, Any]) -> None:
    found = alpha_spending.bounds(design["fractions"], design["alpha"], design["kind"], sides=design["sides"])
    for own, printed, tolerance in zip(found.z, design["z"], design["z_tolerance"], strict=True):
        assert own == pytest.approx(printed, abs=tolerance)
    for own, printed in zip(found.spent, design.get("spent", []), strict=False):
        assert own == pytest.approx(printed, rel=5e-6)  # six digits are printed


@pytest.mark.parametrize("row", PUBLISHED["constants"], ids=lambda r: f"shape-{r['shape']}")
def test_the_classical_constants_are_passed_with_probability_alpha(row: dict[str, Any]) -> None:
    for n_looks, constant in zip(row["looks"], row["constant"], strict=True):
        times = np.arange(1, n_looks + 1) / n_looks
        # three decimals are printed: alpha lies between the crossings half a unit to either side
        low, high = (
            alpha_spending.crossing(times, (constant + e) * times ** -row["shape"], sides=2).sum()
            for e in (5e-4, -5e-4)
        )
        assert low <= row["alpha"] <= high


@pytest.mark.parametrize("kind", ["O'Brien-Fleming", "Pocock"])
def test_first_crossings_agree_with_the_multivariate_normal(kind: alpha_spending.Spending) -> None:
    times = np.array([0.3, 0.55, 1.0])
    found = alpha_spending.bounds(list(times), 0.05, kind)
    covariance = np.sqrt(np.minimum.outer(times, times) / np.maximum.outer(times, times))
    none = multivariate_normal.cdf(found.z, np.zeros(3), covariance, abseps=1e-8, releps=1e-8)
    assert 1 - none == pytest.approx(0.05, abs=1e-5)  # the quadrature's own error


def test_one_look_at_the_end_is_the_plain_test() -> None:
    for kind in ("O'Brien-Fleming", "Pocock"):
        found = alpha_spending.bounds([1.0], 0.05, kind)
        assert found.nominal_alpha[0] == pytest.approx(0.05, abs=1e-9)


def test_power_under_drift_is_that_of_the_plain_test_when_early_bounds_are_out_of_reach() -> None:
    plain = float(1 - multivariate_normal.cdf(1.6449 - 2.5))
    assert alpha_spending.crossing([0.5, 1.0], [30.0, 1.6449], drift=2.5).sum() == pytest.approx(
        plain, abs=1e-9
    )


def test_simulated_walks_err_as_often_as_was_spent() -> None:
    rng = np.random.default_rng(5)
    times = np.array([0.25, 0.6, 1.0])
    found = alpha_spending.bounds(list(times), 0.05, "Pocock")
    steps = rng.normal(size=(200_000, 3)) * np.sqrt(np.diff(times, prepend=0))
    z = np.cumsum(steps, axis=1) / np.sqrt(times)
    share = np.mean((z > found.z).any(axis=1))
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 200_000))


@pytest.mark.parametrize("fractions", [[], [0.5, 0.4], [0.0, 1.0]], ids=str)
def test_looks_that_do_not_go_forward_are_refused(fractions: list[float]) -> None:
    with pytest.raises(StatsError, match="increase"):
        alpha_spending.bounds(fractions, 0.05, "Pocock")


def test_an_unknown_rule_is_refused_with_the_known_ones() -> None:
    with pytest.raises(StatsError, match="wanted one of O'Brien-Fleming, Pocock"):
        alpha_spending.spent("straight", 0.5, 0.05)  # type: ignore[arg-type]


@pytest.mark.parametrize(("alpha", "sides"), [(0.0, 1), (0.5, 1), (0.6, 1), (-0.1, 1), (0.05, 3), (0.05, 0)])
def test_an_error_rate_that_is_none_is_refused(alpha: float, sides: int) -> None:
    with pytest.raises(StatsError):
        alpha_spending.bounds([0.5, 1.0], alpha, "O'Brien-Fleming", sides=sides)


@pytest.mark.parametrize("kind", ["Pocock", "O'Brien-Fleming"])
def test_a_look_by_itself_spends_what_the_looks_before_it_left(kind):
    """Bonferroni on the spending function: what all spend adds up to alpha."""
    shares, alpha = (0.25, 0.6, 1.0), 0.05
    each = [alpha_spending.spent_anew(shares[: n + 1], alpha, kind) for n in range(3)]
    assert each[0] == alpha_spending.spent(kind, 0.25, alpha)
    assert sum(each) == pytest.approx(alpha, rel=1e-12)
    assert 0 < each[0] < alpha
