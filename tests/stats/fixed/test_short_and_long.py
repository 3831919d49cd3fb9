"""Few rows are reckoned without a compiler, many rows with one: the same numbers either way."""

import numpy as np
import pytest

from stats.fixed import binary, binary_kernels
from stats.ordinal import cumulative, cumulative_kernels

RNG = np.random.default_rng(31)
ETA = np.concatenate([RNG.normal(0, 3, 200), [-800.0, -40.0, 0.0, 40.0, 800.0]])
# each term is exact to a few units in the last place; 205 of them are summed
CLOSE = {"rtol": 1e-13, "atol": 1e-14}


@pytest.mark.parametrize("trials", [1.0, 7.0])
def test_logit_rows_agree(trials):
    won = np.floor(RNG.random(ETA.size) * (trials + 1)).clip(0, trials)
    short = binary._logit_rows(won, trials - won, ETA)
    long = binary_kernels.logit_rows(won, trials - won, ETA)
    for one, other in zip(short, long, strict=True):
        np.testing.assert_allclose(one, other, **CLOSE)


def test_cumulative_rows_agree():
    gap = np.abs(RNG.normal(0, 2, ETA.size))
    a = np.where(RNG.random(ETA.size) < 0.2, np.inf, ETA + gap)
    b = np.where(RNG.random(ETA.size) < 0.2, -np.inf, ETA)
    a[:3], b[:3] = 1.0, 1.0  # impossible rows
    with np.errstate(divide="ignore", invalid="ignore"):
        short = cumulative._logistic_interval(a, b)
    np.testing.assert_allclose(short, cumulative_kernels.logistic_interval(a, b), rtol=1e-12, atol=1e-14)


def test_second_derivatives_in_the_shape_agree():
    by = RNG.normal(size=(4, ETA.size))
    sides = RNG.integers(0, 2, (2, ETA.size, 3)).astype(float)
    short = cumulative._second(*by, *sides)
    np.testing.assert_allclose(short, cumulative_kernels.second(*by, *sides), **CLOSE)
