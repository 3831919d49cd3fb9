"""Does what decides a verdict keep its promises? Seeded simulations, run by `make slow`.

Each share has a Monte Carlo error of sqrt(p (1 - p) / runs); the margins below are 3 of them.
"""

from functools import partial

import numpy as np
import pytest
from scipy.stats import t as student

from stats.fixed import newton
from stats.fixed.binary import Binary
from stats.mixed import logistic_mixed, parametric_bootstrap
from stats.mixed.engine import random_terms
from stats.pairs import simulated_panel
from stats.repeats import refits

pytestmark = pytest.mark.slow

RUNS = 400
PROCESSES = 2


def margin(p, runs=RUNS):
    return 3.0 * np.sqrt(p * (1.0 - p) / runs)


def slopes_panel(rng, listeners, effect, sd=0.6):
    """Eight stimuli whose covariate differs, listeners whose slope varies, 56 answers each."""
    return simulated_panel.draw(
        rng,
        listeners=listeners,
        trials=56,
        covariates=rng.normal(size=(8, 2)),
        order=0.15,
        mean=np.array([0.35, effect]),
        sd=np.array([0.25, sd]),
    )


def slope_run(rng, *, listeners, effect, restricted):
    """Whether the mixed model's t interval holds the truth, and whether a pooled fit rejects it."""
    data = slopes_panel(rng, listeners, effect)
    term = random_terms.term("listener", data.listener, data.x[:, 1:])
    found = logistic_mixed.fit(data.answers, data.x, [term], restricted=restricted)
    held = abs(found.estimate[2] - effect) <= student.ppf(0.975, listeners - 1) * found.se[2]
    plain = newton.maximise(Binary.of(data.answers, 1 - data.answers), data.x)
    pooled_se = np.sqrt(plain.covariance()[2, 2])
    return held, abs(plain.beta[2] - effect) > 1.96 * pooled_se


def condition_run(rng, *, listeners, stimulus_sd):
    """One-sided test at 5 % of a condition that does not differ, its three strikes sampled; with and without
    the random stimulus effect in the model."""
    strikes, conditions = 3, 4
    of = np.repeat(np.arange(conditions), strikes)
    dummies = (of[:, None] == np.arange(1, conditions)).astype(float)
    data = simulated_panel.draw(
        rng,
        listeners=listeners,
        trials=60,
        covariates=dummies,
        order=0.1,
        mean=np.zeros(3),
        sd=np.array([0.5, 0.5, 0.5]),
        stimulus_sd=stimulus_sd,
    )
    slopes = random_terms.term("listener", data.listener, data.x[:, 1:])
    strike = random_terms.pair_term("stimulus", data.first, data.second)
    out = []
    for terms, df in (([slopes, strike], strikes * conditions - conditions), ([slopes], listeners - 1)):
        found = logistic_mixed.fit(data.answers, data.x, terms, restricted=True)
        out.append(found.estimate[1] > student.ppf(0.95, min(df, listeners - 1)) * found.se[1])
    return tuple(out)


def simulate(function, seed, runs=RUNS):
    return np.array(refits.run(function, refits.seeds(seed, runs), PROCESSES), dtype=float).mean(axis=0)


def test_a_true_null_is_rejected_as_often_as_promised_and_far_more_often_when_pooled():
    held, pooled = simulate(partial(slope_run, listeners=24, effect=0.0, restricted=True), 1)
    assert 1 - held == pytest.approx(0.05, abs=margin(0.05))
    assert pooled > 0.2


@pytest.mark.parametrize("listeners", [16, 24, 60])
def test_intervals_cover_the_truth_as_often_as_promised(listeners):
    held, _ = simulate(partial(slope_run, listeners=listeners, effect=-0.8, restricted=True), 2)
    assert held == pytest.approx(0.95, abs=margin(0.95))


def test_intervals_of_eight_listeners_cover_93_percent():
    held, _ = simulate(partial(slope_run, listeners=8, effect=-0.8, restricted=True), 3)
    assert held > 0.93 - margin(0.93)


def bootstrap_run(rng):
    data = slopes_panel(rng, 8, -0.8)
    term = random_terms.term("listener", data.listener, data.x[:, 1:])
    found = parametric_bootstrap.interval(
        data.answers, data.x, [term], column=2, seed=int(rng.integers(2**31)), n_draws=99
    )
    return found.lower <= -0.8 <= found.upper


def test_bootstrap_intervals_of_eight_listeners_cover_93_percent():
    runs = 40
    held = simulate(bootstrap_run, 4, runs)
    assert held > 0.93 - margin(0.93, runs)


def test_sampled_stimuli_are_allowed_for():
    with_stimulus, without = simulate(partial(condition_run, listeners=24, stimulus_sd=0.5), 5)
    assert with_stimulus <= 0.05 + margin(0.05)
    assert without > 0.1
