"""The result of a cumulative link model, with random effects or without."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.fixed import frames
from stats.fixed.estimates import Estimates
from stats.fixed.likelihood import FloatArray
from stats.ordinal.cumulative import Link, Spacing

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class OrdinalEstimates(Estimates):
    """Effects and thresholds; a positive effect means higher categories."""

    thresholds: FloatArray
    """(m,) between neighbouring categories; their rows of the covariance follow the effects'."""
    threshold_names: tuple[str, ...]
    loglik: float
    n: float
    n_parameters: int
    link: Link
    spacing: Spacing

    @property
    def threshold_se(self) -> FloatArray:
        """(m,) standard errors of the thresholds."""
        return np.sqrt(np.diag(self.covariance))[self.estimate.size :]

    def to_frame(self) -> "pd.DataFrame":
        """Estimates and standard errors, a row each effect and threshold."""
        return frames.frame(
            {
                "estimate": np.concatenate([self.estimate, self.thresholds]),
                "se": np.concatenate([self.se, self.threshold_se]),
            },
            [*self.names, *self.threshold_names],
        )
