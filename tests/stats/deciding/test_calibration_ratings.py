"""What the linear mixed model claims happens as often as it says; what pooling listeners claims does not."""

import numpy as np
import pytest

from stats.linear import kenward_roger, linear_mixed, satterthwaite
from stats.mixed.engine.random_terms import term

N_RUNS = 400
N_STIMULI = 12
MARGIN = 3.5 * np.sqrt(0.05 * 0.95 / N_RUNS)  # Monte Carlo: 0.038

pytestmark = pytest.mark.slow


def panel(rng, n_listeners, effect):
    """Every listener rates every stimulus once; listeners differ in level and effect, stimuli differ too."""
    listener = np.repeat(np.arange(n_listeners), N_STIMULI)
    stimulus = np.tile(np.arange(N_STIMULI), n_listeners)
    design = np.where(stimulus % 2 == 0, -0.5, 0.5)
    own = effect + rng.normal(0, 1.0, n_listeners)
    y = rng.normal(0, 1.5, n_listeners)[listener] + own[listener] * design
    y += rng.normal(0, 0.5, N_STIMULI)[stimulus] + rng.normal(0, 1.0, listener.size)
    x = np.column_stack([np.ones(listener.size), design])
    return y, x, [term("listener", listener, x, column_names=["", "design"]), term("stimulus", stimulus)]


@pytest.mark.parametrize("method", [satterthwaite, kenward_roger], ids=["satterthwaite", "kenward-roger"])
def test_a_true_null_is_rejected_as_often_as_it_says(method):
    rng = np.random.default_rng(24)
    rejected = 0
    for _ in range(N_RUNS):
        model = linear_mixed.fit(*panel(rng, 24, 0.0))
        rejected += method.t_tests(model, [0.0, 1.0]).p[0] < 0.05
    print(f"rejected {rejected} of {N_RUNS}, wanted 5 % +- {100 * MARGIN:.1f} %")
    assert rejected / N_RUNS == pytest.approx(0.05, abs=MARGIN)


def test_pooling_listeners_rejects_a_true_null_far_too_often():
    rng = np.random.default_rng(24)
    rejected = 0
    for _ in range(N_RUNS):
        y, x, _ = panel(rng, 24, 0.0)
        rejected += satterthwaite.t_tests(linear_mixed.fit(y, x, []), [0.0, 1.0]).p[0] < 0.05
    print(f"pooled: rejected {rejected} of {N_RUNS}")
    assert rejected / N_RUNS > 0.10


@pytest.mark.parametrize("n_listeners", [8, 16, 24, 60])
def test_intervals_cover_the_truth(n_listeners):
    rng = np.random.default_rng(n_listeners)
    covered = 0
    for _ in range(N_RUNS):
        found = kenward_roger.t_tests(linear_mixed.fit(*panel(rng, n_listeners, 0.8)), [0.0, 1.0])
        covered += found.lower[0] <= 0.8 <= found.upper[0]
    print(f"{n_listeners} listeners: covered {covered} of {N_RUNS}")
    assert covered / N_RUNS == pytest.approx(0.95, abs=MARGIN)
