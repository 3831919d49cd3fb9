"""How well a paired-comparison model fits: deviance, pairwise residuals, over-dispersion."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import xlogy

from stats.fixed import frames, tail_areas
from stats.fixed.binary import Binary
from stats.fixed.likelihood import FloatArray
from stats.ordinal.cumulative import Cumulative
from stats.pairs.bradley_terry import Strengths
from stats.pairs.comparisons import Comparisons
from stats.pairs.davidson import Davidson

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class FitCheck:
    """Distance between the counts and the model."""

    deviance: float
    pearson: float
    df: int
    p_deviance: float
    """Chi-square; trust it where most ordered pairs have 5 answers or more."""
    dispersion: float
    """Pearson over degrees of freedom; well above 1: answers hang together or the model misses something."""
    pair_first: tuple[str, ...]
    pair_second: tuple[str, ...]
    residual: FloatArray
    """(pairs,) standardised residual of each ordered pair's wins for the first item."""

    def to_frame(self) -> "pd.DataFrame":
        """Residuals, a row each ordered pair."""
        return frames.frame({"first": self.pair_first, "second": self.pair_second, "residual": self.residual})


def check(found: Strengths) -> FitCheck:
    """Deviance against a free share for each ordered pair, Pearson's statistic and standardised residuals.

    Source: Agresti, Categorical Data Analysis, section 11.6.
    """
    data = found.data
    counts = _counts(data, ties=found.ties is not None)
    shares = fitted_shares(found)
    n = counts.sum(axis=1, keepdims=True)
    expected = n * shares
    deviance = 2.0 * float((xlogy(counts, counts) - xlogy(counts, np.maximum(expected, 1e-300))).sum())
    safe = np.maximum(expected, 1e-300)
    pearson = float(((counts - expected) ** 2 / safe).sum())
    used = n[:, 0] > 0
    df = int(used.sum()) * (counts.shape[1] - 1) - found.estimate.size
    first = expected[:, 0]
    spread = np.sqrt(np.maximum(first * (1.0 - shares[:, 0]), 1e-300))
    return FitCheck(
        deviance=deviance,
        pearson=pearson,
        df=df,
        p_deviance=tail_areas.chi_square_above(deviance, df) if df > 0 else float("nan"),
        dispersion=pearson / df if df > 0 else float("nan"),
        pair_first=tuple(data.items[j] for j in data.first),
        pair_second=tuple(data.items[j] for j in data.second),
        residual=np.where(used, (counts[:, 0] - first) / spread, 0.0),
    )


def _counts(data: Comparisons, *, ties: bool) -> FloatArray:
    parts = (data.won, data.tied, data.lost) if ties else (data.won, data.lost)
    return np.column_stack(parts)


def fitted_shares(found: Strengths) -> FloatArray:
    """(n, 3) or (n, 2) fitted shares of first, tie, second (or first, second) for every ordered pair.

    Raises
    ------
    TypeError
        A likelihood that is none of the pair models.
    """
    eta = found.predictor()
    shape = found.estimate[found.design.n_columns :]
    if isinstance(found.likelihood, Davidson):
        return np.column_stack(found.likelihood.shares(eta, shape))
    if isinstance(found.likelihood, Cumulative):
        return found.likelihood.probabilities(eta, shape)[:, ::-1]
    if isinstance(found.likelihood, Binary):
        first = found.likelihood.mean(eta)
        return np.column_stack([first, 1.0 - first])
    raise TypeError(type(found.likelihood).__name__)
