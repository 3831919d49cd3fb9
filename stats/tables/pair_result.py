"""What a fit of paired comparisons hands over: numbers by name, as text, as a data frame, as plain values."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from stats.fixed import frames

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.likelihood import FloatArray

DECIMALS = 4


@dataclass(frozen=True)
class PairsFit:
    """Estimates on the scale of the link, first minus second."""

    model: str
    n: float
    """Answers."""
    reference: str | None
    """The item at zero; None where covariates replace the items."""
    estimates: Mapping[str, Mapping[str, float]]
    """By name: estimate, se, and se_clustered where listeners answered more than once."""
    loglik: float
    spread: Mapping[str, float] = field(default_factory=dict)
    """Standard deviations over listeners."""
    warnings: tuple[str, ...] = ()
    correlation: Mapping[str, float] = field(default_factory=dict)
    tests: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Likelihood-ratio tests by what they test: statistic, df, p."""
    fit: Mapping[str, float | None] = field(default_factory=dict)
    """deviance, pearson, df, p, dispersion against a free share for each pair."""

    def to_dict(self) -> dict[str, Any]:
        """Plain values, as `listening fit pairs --json` prints them."""
        return {
            "model": self.model,
            "n": int(self.n) if float(self.n).is_integer() else self.n,
            "reference": self.reference,
            "estimates": {name: dict(entry) for name, entry in self.estimates.items()},
            "spread": dict(self.spread),
            "loglik": self.loglik,
            "warnings": list(self.warnings),
            "correlation": dict(self.correlation),
            "tests": {name: dict(test) for name, test in self.tests.items()},
            "fit": dict(self.fit),
        }

    def to_frame(self) -> "pd.DataFrame":
        """A row an estimate: estimate, se, se_clustered where there is one."""
        columns = {head: [entry[head] for entry in self.estimates.values()] for head in self._heads()}
        return frames.frame(columns, list(self.estimates))

    def summary(self) -> str:
        """The text that `listening fit pairs` prints."""
        lines = [f"{self.model}, {self.n:g} answers, log-likelihood {self.loglik:.{DECIMALS}f}"]
        if self.reference is not None:
            lines.append(f"reference (at zero): {self.reference}")
        lines += self._table()
        if self.correlation:
            lines.append("correlations over listeners")
            lines += [f"{name}  {value:.{DECIMALS}f}" for name, value in self.correlation.items()]
        for name, test in self.tests.items():
            lines.append(f"{name}: chi-square {test['statistic']:.3f}, df {test['df']}, p {test['p']:.4g}")
        if self.fit:
            lines.append(
                f"fit: deviance {self.fit['deviance']:.3f}, df {self.fit['df']}, "
                f"dispersion {self.fit['dispersion'] or float('nan'):.2f}"
            )
        return "\n".join([*lines, *(f"warning: {text}" for text in self.warnings)])

    def __str__(self) -> str:
        return self.summary()

    def _heads(self) -> list[str]:
        clustered = any("se_clustered" in entry for entry in self.estimates.values())
        return ["estimate", "se", *(["se_clustered"] if clustered else [])]

    def _table(self) -> list[str]:
        width = max((len(name) for name in [*self.estimates, *self.spread]), default=4)
        heads = self._heads()
        lines = [" " * width + "".join(f"  {head:>12}" for head in heads)]
        for name, entry in self.estimates.items():
            lines.append(f"{name:<{width}}" + "".join(f"  {entry[head]:>12.{DECIMALS}f}" for head in heads))
        if self.spread:
            lines.append("standard deviations over listeners")
            lines += [f"{name:<{width}}  {value:>12.{DECIMALS}f}" for name, value in self.spread.items()]
        return lines


def entries(names: Sequence[str], estimate: "FloatArray", se: "FloatArray") -> dict[str, dict[str, float]]:
    """Estimate and standard error by name; both arrays (p,)."""
    return {
        name: {"estimate": float(value), "se": float(error)}
        for name, value, error in zip(names, estimate, se, strict=True)
    }
