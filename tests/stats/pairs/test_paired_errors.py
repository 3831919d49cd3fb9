"""Errors of strengths: quasi-variances, clustered errors, the fit check, separation, limits by profile."""

import tomllib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from stats.errors import BadData, Separated
from stats.fixed import firth, newton, profile, sandwich, separation
from stats.fixed.binary import Binary
from stats.pairs import bradley_terry, comparisons, fit_check, quasi_variance, strength_intervals
from tests.stats import richardson

PUBLISHED = Path(__file__).parents[2] / "published"
REFERENCE = tomllib.loads((PUBLISHED / "bradley_terry.toml").read_text())


def baseball():
    data = pd.read_csv(PUBLISHED / "baseball.csv")
    return comparisons.collect(data["first"], data["second"], data.win_first, data.win_second)


@pytest.mark.parametrize(("order", "key"), [(False, "baseball_plain"), (True, "baseball_order")], ids=str)
def test_quasi_variances_agree_with_the_reference(order, key):
    _, covariance = bradley_terry.fit(baseball(), order=order).strengths()
    found = quasi_variance.fit(covariance)
    np.testing.assert_allclose(found.se, list(REFERENCE[key]["quasi_se"].values()), rtol=1e-4)


def test_quasi_variances_stand_for_every_difference():
    data = bradley_terry.fit(baseball())
    value, covariance = data.strengths()
    found = quasi_variance.fit(covariance)
    for i, first in enumerate(data.data.items):
        for j, second in enumerate(data.data.items):
            if i != j:
                true = data.difference(first, second)[1]
                ratio = np.sqrt(found.variance[i] + found.variance[j]) / true - 1
                assert found.worst_low - 1e-9 <= ratio <= found.worst_high + 1e-9
    assert max(-found.worst_low, found.worst_high) < 0.05
    low, high = quasi_variance.comparison_interval(value, found)
    assert (low < value).all()
    assert (high > value).all()


def test_independent_estimates_are_their_own_quasi_variances():
    variance = np.array([0.1, 0.4, 0.2, 0.3])
    np.testing.assert_allclose(quasi_variance.fit(np.diag(variance)).variance, variance, rtol=1e-8)


def test_two_items_have_no_quasi_variances():
    with pytest.raises(BadData, match="3 items"):
        quasi_variance.fit(np.eye(2))


def test_fit_check_agrees_with_the_reference():
    found = fit_check.check(bradley_terry.fit(baseball()))
    expected = REFERENCE["baseball_plain"]
    assert (found.deviance, found.pearson) == pytest.approx(
        (expected["deviance"], expected["pearson"]), abs=1e-6
    )
    assert found.df == expected["df_residual"]
    assert found.pearson == pytest.approx((found.residual**2).sum(), rel=1e-9)


def test_clustered_errors_of_a_mean_are_those_of_the_cluster_means():
    # one column of ones, equal clusters: covariance of the logit = var(shares) / g / (p q)^2
    rng = np.random.default_rng(2)
    clusters, size = 12, 20
    won = rng.binomial(1, np.repeat(rng.uniform(0.3, 0.8, clusters), size)).astype(float)
    cluster = np.repeat(np.arange(clusters), size)
    answers = Binary.of(won, 1 - won)
    found = newton.maximise(answers, np.ones((won.size, 1)))
    shares = won.reshape(clusters, size).mean(axis=1)
    p = won.mean()
    expected = shares.var(ddof=1) / clusters / (p * (1 - p)) ** 2
    covariance = sandwich.covariance(
        answers, np.ones((won.size, 1)), found.beta, found.shape, found.information, cluster
    )
    assert covariance[0, 0] == pytest.approx(expected, rel=1e-9)


def test_one_cluster_is_refused():
    answers = Binary.of(np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    with pytest.raises(BadData, match="one listener"):
        sandwich.covariance(
            answers, np.ones((2, 1)), np.zeros(1), np.zeros(0), np.eye(1), np.zeros(2, dtype=int)
        )


@pytest.mark.parametrize(
    ("x", "won", "lost", "separated"),
    [
        ([[-1.0], [1.0], [2.0]], [0, 1, 1], [1, 0, 0], True),
        ([[-1.0], [1.0], [2.0]], [1, 0, 1], [0, 1, 0], False),
        ([[1.0, 0.0], [1.0, 1.0], [1.0, 1.0]], [1, 3, 2], [1, 0, 0], True),  # quasi-complete
        ([[1.0, 0.0], [1.0, 1.0]], [1, 3], [1, 1], False),
    ],
    ids=["complete", "overlap", "quasi", "both"],
)
def test_separation_is_found_where_it_is(x, won, lost, separated):
    way = separation.direction(np.array(x), np.array(won, float), np.array(lost, float))
    assert (way is not None) == separated


@pytest.mark.parametrize("link", ["logit", "probit"])
def test_penalised_score_is_the_gradient_of_the_penalised_likelihood(link):
    rng = np.random.default_rng(4)
    x = rng.normal(size=(30, 3))
    answers = Binary.of(rng.integers(0, 4, 30).astype(float), rng.integers(0, 4, 30).astype(float), link)
    beta = np.array([0.3, -0.2, 0.5])

    def objective(at):
        weight = firth.expected_weight(x @ at, link)[0] * (answers.won + answers.lost)
        half = 0.5 * np.linalg.slogdet(x.T @ (weight[:, None] * x))[1]
        return answers.values(x @ at, np.zeros(0)).sum() + half

    score, _ = firth.penalised_score(answers, x, x @ beta)
    for found, unit in zip(score, np.eye(3), strict=True):
        richardson.slope(lambda h, unit=unit: objective(beta + h * unit)).check(found)


def test_profile_limits_of_a_share_solve_the_likelihood_equation():
    won, lost = 17.0, 3.0

    def loglik(logit):
        return won * -np.log1p(np.exp(-logit)) - lost * np.log1p(np.exp(logit))

    top = np.log(won / lost)
    for side in ("lower", "upper"):
        at = profile.limit(
            loglik, top=top, top_loglik=loglik(top), fall=profile.drop(0.975), step=0.5, side=side
        )
        assert 2 * (loglik(top) - loglik(at)) == pytest.approx(3.841459, abs=1e-4)  # chi-square 95 %, 1 df
        assert (at < top) == (side == "lower")


def test_a_profile_that_never_falls_has_no_limit():
    at = profile.limit(lambda v: -np.exp(-v), top=5.0, top_loglik=0.0, fall=1.9, step=1.0, side="upper")
    assert at == np.inf


def test_t_quantile_widens_a_profile():
    assert profile.drop(0.95) == pytest.approx(1.644854**2 / 2, abs=1e-6)
    assert profile.drop(0.95, df=5) == pytest.approx(2.015048**2 / 2, abs=1e-6)
    with pytest.raises(BadData, match="level"):
        profile.drop(0.3)


def single_answers(listeners=24, sd=0.8):
    """Answers about four items whose strengths differ between listeners."""
    rng = np.random.default_rng(10)
    pairs = np.array([(i, j) for i in range(4) for j in range(4) if i != j])
    listener = np.repeat(np.arange(listeners), len(pairs))
    first, second = np.tile(pairs, (listeners, 1)).T
    strength = np.array([0.0, 0.5, -0.4, 1.0]) + sd * rng.normal(size=(listeners, 4))
    eta = strength[listener, first] - strength[listener, second]
    answer = np.where(rng.random(eta.size) < 1 / (1 + np.exp(-eta)), 1, -1)
    return strength_intervals.Answers(tuple("abcd"), listener, first, second, answer)


def test_profile_limits_hold_more_on_the_longer_tail():
    found = bradley_terry.fit(baseball())
    lower, upper = strength_intervals.profiled(found, "T5")
    wald = strength_intervals.wald(found)
    at = found.names.index("T5")
    assert (lower, upper) == pytest.approx((wald.lower[at], wald.upper[at]), abs=0.05)
    assert upper - found.estimate[at] > found.estimate[at] - lower
    with pytest.raises(BadData, match="wanted one of"):
        strength_intervals.profiled(found, "T1")


def test_profile_limits_with_ties_solve_the_likelihood_equation():
    data = pd.read_csv(PUBLISHED / "springall.csv")
    counts = comparisons.collect(data.item1, data.item2, data.win1, data.win2, data.tie)
    for ties in ("davidson", "rao-kupper"):
        found = bradley_terry.fit(counts, ties=ties)
        lower, upper = strength_intervals.profiled(found, "A3")
        wald = strength_intervals.wald(found)
        assert (lower, upper) == pytest.approx((wald.lower[1], wald.upper[1]), abs=0.05)


def test_listeners_who_differ_widen_clustered_and_bootstrap_intervals_alike():
    answers = single_answers(listeners=100, sd=1.0)  # errors of errors: 7 %
    found = bradley_terry.fit(answers.comparisons())
    wald, clustered = strength_intervals.wald(found), strength_intervals.clustered(found, answers)
    drawn = strength_intervals.bootstrap(found, answers, seed=1, n_draws=200)
    width = [i.upper - i.lower for i in (wald, clustered, drawn)]
    assert (width[1] > 1.2 * width[0]).all()
    np.testing.assert_allclose(width[2], width[1], rtol=0.25)  # 200 draws: 5 % each end


def test_an_item_without_loss_is_named_with_ties_and_order_too():
    items = ["a", "a", "b", "c", "b", "c"]
    others = ["b", "c", "a", "a", "c", "b"]
    data = comparisons.collect(items, others, [4, 4, 0, 0, 2, 2], [0, 0, 4, 4, 1, 2], [0, 0, 0, 0, 1, 1])
    for ties in ("davidson", "rao-kupper"):
        with pytest.raises(Separated, match="a never lost"):
            bradley_terry.fit(data, ties=ties, order=True)
