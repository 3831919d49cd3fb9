"""A panel whose truth is known: paired comparisons by listeners with their own slopes."""

from dataclasses import dataclass

import numpy as np

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray, as_floats


@dataclass(frozen=True)
class Panel:
    """n answers of simulated listeners."""

    listener: IntArray
    first: IntArray
    second: IntArray
    x: FloatArray
    """(n, 1 + k): a column of ones, then covariate differences, first minus second."""
    answers: FloatArray
    """(n,) 1 where the first was chosen."""
    covariates: FloatArray
    """(stimuli, k)."""


def draw(
    rng: np.random.Generator,
    *,
    listeners: int,
    trials: int,
    covariates: FloatArray,
    order: float,
    mean: FloatArray,
    sd: FloatArray,
    correlation: FloatArray | None = None,
    stimulus_sd: float = 0.0,
    cell_sd: float = 0.0,
) -> Panel:
    """Answers with P(first) = logistic(order + slopes'(x_first - x_second) + u_first - u_second + ...).

    Parameters
    ----------
    rng : where chance comes from
    trials : answers a listener; pairs are gone through in a random order, again and again
    covariates : (stimuli, k)
    mean, sd : (k,) of the slopes over listeners
    correlation : (k, k) of the slopes, none if not given
    stimulus_sd : of what each stimulus has beyond its covariates, heard alike by all listeners
    cell_sd : of the same for each listener and stimulus

    Raises BadData where shapes disagree.
    """
    covariates, mean, sd = as_floats(covariates), as_floats(mean), as_floats(sd)
    stimuli, k = covariates.shape
    if mean.shape != (k,) or sd.shape != (k,) or stimuli < 2 or listeners < 1 or trials < 1:
        raise BadData(f"covariates {covariates.shape}, mean {mean.shape}, sd {sd.shape}: wanted k of each")
    together = np.eye(k) if correlation is None else as_floats(correlation)
    slopes = mean + rng.normal(size=(listeners, k)) @ np.linalg.cholesky(together).T * sd
    quirk = stimulus_sd * rng.normal(size=stimuli)
    cell = cell_sd * rng.normal(size=(listeners, stimuli)) + quirk
    pairs = np.array([(i, j) for i in range(stimuli) for j in range(stimuli) if i != j])
    rounds = -(-trials // len(pairs))
    dealt = [rng.permutation(np.tile(pairs, (rounds, 1)))[:trials] for _ in range(listeners)]
    listener = np.repeat(np.arange(listeners), trials)
    first, second = np.concatenate(dealt).T
    return _answer(rng, listener, first, second, covariates, slopes, order, cell)


def _answer(
    rng: np.random.Generator,
    listener: IntArray,
    first: IntArray,
    second: IntArray,
    covariates: FloatArray,
    slopes: FloatArray,
    order: float,
    cell: FloatArray,
) -> Panel:
    differences = covariates[first] - covariates[second]
    eta = order + (slopes[listener] * differences).sum(axis=1)
    eta += cell[listener, first] - cell[listener, second]
    answers = (rng.random(eta.size) < 1.0 / (1.0 + np.exp(-eta))).astype(float)
    x = np.column_stack([np.ones(eta.size), differences])
    return Panel(listener, np.ascontiguousarray(first), np.ascontiguousarray(second), x, answers, covariates)
