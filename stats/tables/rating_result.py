"""What a fit of ratings hands over: numbers by name, as text, as a data frame, as plain values."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from stats.fixed import frames
from stats.tables import told

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.likelihood import FloatArray
    from stats.linear.contrast_tests import ContrastTests

LIMITS = "Each effect, and the 95 % confidence limits between which it lies:"


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
        found = self._effects()
        lines = [
            f"Fitted: {self.model}, {self.n} answers.",
            told.sentence(found),
            LIMITS,
            *told.effects(found),
        ]
        if self.spread:
            varied = (f"{name} {value:.{told.DECIMALS}f}" for name, value in self.spread.items())
            lines.append(f"Standard deviations: {', '.join(varied)}.")
        lines.append(f"log-likelihood {self.loglik:.{told.DECIMALS}f}")
        return "\n".join([*lines, *(f"warning: {warning}" for warning in self.warnings)])

    def _effects(self) -> list[told.Effect]:
        df = [math.inf] * len(self.names) if self.tests is None else [float(df) for df in self.tests.df]
        p = [None] * len(self.names) if self.tests is None else [float(p) for p in self.tests.p]
        values = zip(self.names, self.estimate, self.se, df, p, strict=True)
        return [told.Effect(name, float(value), float(se), d, q) for name, value, se, d, q in values]

    def __str__(self) -> str:
        return self.summary()

    def _entry(self, j: int) -> dict[str, float | None]:
        entry: dict[str, float | None] = {"estimate": float(self.estimate[j]), "se": float(self.se[j])}
        if self.tests is not None:
            df = float(self.tests.df[j])
            entry |= {"df": df if math.isfinite(df) else None, "p": float(self.tests.p[j])}
        return entry
