"""What every fitted model has: named effects with a covariance, as a table and as text."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.fixed import frames
from stats.fixed.likelihood import FloatArray, as_floats

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Estimates:
    """Named effects of a fit."""

    names: tuple[str, ...]
    estimate: FloatArray
    """(p,) effects, in predictor units: logits under a logit link, points of the scale in a linear model."""
    covariance: FloatArray
    """(p, p) of the effects; what else a model estimates together with them follows after the p-th row."""

    @property
    def se(self) -> FloatArray:
        """(p,) standard errors of the effects."""
        return np.sqrt(np.diag(self.covariance))[: self.estimate.size]

    def contrast(self, weights: FloatArray) -> tuple[float, float]:
        """Estimate and standard error of a weighted sum of the effects, weights (p,)."""
        p, weights = self.estimate.size, as_floats(weights)
        return float(weights @ self.estimate), float(np.sqrt(weights @ self.covariance[:p, :p] @ weights))

    def to_frame(self) -> "pd.DataFrame":
        """Estimates and standard errors, a row each effect."""
        return frames.frame({"estimate": self.estimate, "se": self.se}, self.names)

    def text(self, head: str, spread: dict[str, float]) -> str:
        """A line on the fit, the effects, and how far random effects spread."""
        lines = [f"spread {name}: {value:.4f}" for name, value in spread.items()]
        return "\n".join([head, self.to_frame().to_string(float_format="%.4f"), *lines])
