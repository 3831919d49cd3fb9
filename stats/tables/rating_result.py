"""What a fit of ratings hands over: numbers by name, as text, as a data frame, as plain values."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.fixed import frames

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.likelihood import FloatArray
    from stats.linear.contrast_tests import ContrastTests

DECIMALS = 4


@dataclass(frozen=True)
class RatingsFit:
    """Effects on the answers, in units of the scale or of the link."""

    model: str
    names: Sequence[str]
    """(p,) effects, then thresholds where the answers are categories."""
    estimate: "FloatArray"
    se: "FloatArray"
    spread: Mapping[str, float]
    """Standard deviation of each random effect, and `residual`."""
    loglik: float
    n: int
    """Answers."""
    tests: "ContrastTests | None" = None
    """Degrees of freedom and two-sided p of each effect, interval scale only."""
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening fit ratings --json` prints them."""
        return {
            "model": self.model,
            "n": self.n,
            "reference": None,
            "estimates": {name: self._entry(j) for j, name in enumerate(self.names)},
            "spread": dict(self.spread),
            "loglik": self.loglik,
            "warnings": list(self.warnings),
        }

    def to_frame(self) -> "pd.DataFrame":
        """A row an effect: estimate, se, and df, p where they are known."""
        rows = [self._entry(j) for j in range(len(self.names))]
        return frames.frame({head: [row[head] for row in rows] for head in rows[0]}, self.names)

    def summary(self) -> str:
        """The text that `listening fit ratings` prints."""
        width = max(len(name) for name in [*self.names, *self.spread, "log-likelihood"])
        heading = f"{'':<{width}}  {'estimate':>10}  {'se':>10}"
        if self.tests is not None:
            heading += f"  {'df':>8}  {'p':>8}"
        lines = [f"{self.model}, {self.n} answers", heading]
        for j, name in enumerate(self.names):
            line = f"{name:<{width}}  {self.estimate[j]:>10.{DECIMALS}f}  {self.se[j]:>10.{DECIMALS}f}"
            if self.tests is not None:
                line += f"  {self.tests.df[j]:>8.1f}  {self.tests.p[j]:>8.2g}"
            lines.append(line)
        if self.spread:
            lines.append("standard deviations")
            lines += [f"{name:<{width}}  {value:>10.{DECIMALS}f}" for name, value in self.spread.items()]
        lines.append(f"{'log-likelihood':<{width}}  {self.loglik:>10.{DECIMALS}f}")
        return "\n".join([*lines, *(f"warning: {warning}" for warning in self.warnings)])

    def __str__(self) -> str:
        return self.summary()

    def _entry(self, j: int) -> dict[str, float | None]:
        entry: dict[str, float | None] = {"estimate": float(self.estimate[j]), "se": float(self.se[j])}
        if self.tests is not None:
            df = float(self.tests.df[j])
            entry |= {"df": df if math.isfinite(df) else None, "p": float(self.tests.p[j])}
        return entry
