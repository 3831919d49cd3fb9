"""Many refits: the same bits wherever they run; bootstrap and permutation over listeners."""

import numpy as np
import pytest
from scipy import stats as distributions

from stats.errors import BadData, StatsError
from stats.repeats import resampling
from stats.repeats.refits import CHUNK, run, seeds

SCORES = np.random.default_rng(1).gamma(2.0, 1.0, 24)


def _solver():
    # a closure travels to a process by value, so that the process need not import this module
    def draw(rng):
        return float(np.linalg.solve(rng.normal(size=(30, 30)), rng.normal(size=30)).sum())

    return draw


draw = _solver()


def mean(listeners):
    return np.array([SCORES[listeners].mean(), SCORES[listeners].std()])


def test_two_processes_give_the_same_bits_as_one():
    wanted = seeds(5, 3 * CHUNK + 1)
    assert run(draw, wanted, 2) == run(draw, wanted, 1)


def test_results_come_in_the_order_of_the_seeds_whatever_their_number():
    assert run(draw, seeds(5, 40))[:7] == run(draw, seeds(5, 7))


def test_progress_ends_at_all():
    told = []
    run(draw, seeds(5, 20), on_progress=lambda done, total: told.append((done, total)))
    assert told == [(16, 20), (20, 20)]


def test_bootstrap_of_a_mean_has_the_standard_error_of_the_mean():
    found = resampling.bootstrap(mean, 24, seed=3)
    # Monte Carlo error of a standard deviation of 1999 draws: 1 / sqrt(2 * 1999), four of them
    assert found.se[0] == pytest.approx(SCORES.std() / np.sqrt(24), rel=4 / np.sqrt(2 * 1999))
    np.testing.assert_allclose(found.estimate, [SCORES.mean(), SCORES.std()])
    assert found.n_failed == 0


@pytest.mark.parametrize(("method", "theirs"), [("percentile", "percentile"), ("accelerated", "BCa")])
def test_bootstrap_interval_agrees_with_the_reference_library(method, theirs):
    found = resampling.bootstrap(mean, 24, seed=3, n_draws=9999, method=method)
    expected = distributions.bootstrap(
        (SCORES,), np.mean, n_resamples=9999, method=theirs, rng=np.random.default_rng(2)
    ).confidence_interval
    # two independent draws: a tail quantile has a Monte Carlo error of about 0.027 standard errors; four,
    # twice
    margin = 8 * 0.027 * SCORES.std() / np.sqrt(24)
    assert found.lower[0] == pytest.approx(expected.low, abs=margin)
    assert found.upper[0] == pytest.approx(expected.high, abs=margin)


def test_same_seed_gives_the_same_interval():
    first, second = (resampling.bootstrap(mean, 24, seed=8, n_draws=99) for _ in range(2))
    assert first.replicates.tobytes() == second.replicates.tobytes()


def test_draws_that_cannot_be_fitted_are_counted_and_limited():
    def fails(share):
        def statistic(listeners):
            if listeners[0] < 12 and listeners[1] < share * 24 and len(set(listeners)) < 24:
                raise StatsError("no fit")
            return SCORES[listeners].mean()

        return statistic

    assert resampling.bootstrap(fails(0.04), 24, seed=1, n_draws=400).n_failed > 0
    with pytest.raises(StatsError, match="of 400 draws could not be fitted"):
        resampling.bootstrap(fails(0.9), 24, seed=1, n_draws=400)


def test_few_listeners_are_permuted_exactly():
    effects = np.array([0.3, 1.2, 0.8, -0.1, 0.9, 0.4])
    found = resampling.permutation(lambda signs: float(signs @ effects), 6, seed=1, alternative="greater")
    expected = distributions.permutation_test(
        (effects,), lambda x: x.sum(), permutation_type="samples", alternative="greater"
    )
    assert found.exact
    assert found.p == pytest.approx(expected.pvalue, abs=1e-15)


def test_many_listeners_are_permuted_at_random_and_never_to_zero():
    effects = np.full(24, 1.0)
    found = resampling.permutation(lambda signs: float(signs @ effects), 24, seed=1, n_draws=199)
    assert not found.exact
    assert found.p == 1 / 200


def test_permutation_keeps_its_level():
    rng = np.random.default_rng(6)
    p = []
    for _ in range(400):
        effects = rng.standard_t(3, 9)
        p.append(resampling.permutation(lambda signs, e=effects: float(signs @ e), 9, seed=1).p)
    assert np.mean(np.array(p) <= 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 400))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: run(draw, seeds(1, 3), 0), "wanted 1"),
        (lambda: seeds(1, 0), "at least 1"),
        (lambda: resampling.bootstrap(mean, 1, seed=1), "at least 2"),
        (
            lambda: resampling.bootstrap(mean, 24, seed=1, n_draws=9, method="basic"),
            "percentile or accelerated",
        ),
        (lambda: resampling.permutation(np.sum, 3, seed=1, alternative="up"), "alternative"),
    ],
)
def test_what_cannot_be_drawn_is_named(call, message):
    with pytest.raises(BadData, match=message):
        call()
