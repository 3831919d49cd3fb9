"""The generator behind the table of error rates of ratings: even is even, and an error is seen."""

import numpy as np
import pytest

from tests import rating_rates


@pytest.mark.parametrize("truth", rating_rates.TRUTHS, ids=lambda one: one.name)
def test_the_two_sounds_are_even_on_average(truth: rating_rates.Truth) -> None:
    """Over 100 small studies; five standard errors, found from the studies themselves."""
    apart = []
    for seed in range(100):
        rng = np.random.default_rng([1, seed])
        table = rating_rates.study("multiple stimulus", truth, rng, listeners=8, strikes=3, trials=1)
        mean = table.groupby("condition")["score"].mean()
        apart.append(mean[rating_rates.MORE] - mean[rating_rates.THAN])
    assert abs(np.mean(apart)) < 5 * np.std(apart, ddof=1) / 10


def test_a_difference_that_is_there_is_called_one() -> None:
    truth, rng = rating_rates.TRUTHS[0], np.random.default_rng(3)
    table = rating_rates.study("multiple stimulus", truth, rng, listeners=12, strikes=3, trials=2)
    raised = table["score"] + 25.0 * (table["condition"] == rating_rates.MORE)
    assert rating_rates.above(table.assign(score=raised))
    assert not rating_rates.above(table.assign(score=table["score"] - 25.0 * (table["condition"] == "b")))
