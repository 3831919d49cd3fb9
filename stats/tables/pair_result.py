"""What a fit of paired comparisons hands over: numbers by name, as text, as a data frame, as plain values."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from stats.fixed import frames
from stats.tables import told

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.likelihood import FloatArray


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
        found = self._effects()
        lines = [f"Fitted: {self.model}, {self.n:g} answers."]
        if self.reference is not None:
            lines.append(f"{self.reference} is set to zero; the others are measured from it.")
        lines += [told.sentence(found), self._limits(), *told.effects(found)]
        lines += _varied("Standard deviations over listeners", self.spread)
        lines += _varied("Correlations over listeners", self.correlation)
        for name, test in self.tests.items():
            lines.append(f"{name}: p {test['p']:.4g} (chi-square {test['statistic']:.3f}, df {test['df']})")
        if self.fit:
            lines.append(
                f"Against a free share for each pair: deviance {self.fit['deviance']:.3f}, "
                f"df {self.fit['df']}, dispersion {self.fit['dispersion'] or float('nan'):.2f}"
            )
        lines.append(f"log-likelihood {self.loglik:.{told.DECIMALS}f}")
        return "\n".join([*lines, *(f"warning: {text}" for text in self.warnings)])

    def _effects(self) -> list[told.Effect]:
        """By the errors that hold when a listener's answers hang together, where there are such."""
        se = "se_clustered" if "se_clustered" in self._heads() else "se"
        return [told.Effect(name, e["estimate"], e[se]) for name, e in self.estimates.items() if se in e]

    def _limits(self) -> str:
        by = ", listeners as clusters" if "se_clustered" in self._heads() else ""
        return f"On the scale of the link, with 95 % confidence limits{by}:"

    def __str__(self) -> str:
        return self.summary()

    def _heads(self) -> list[str]:
        clustered = any("se_clustered" in entry for entry in self.estimates.values())
        return ["estimate", "se", *(["se_clustered"] if clustered else [])]


def _varied(heading: str, values: Mapping[str, float]) -> list[str]:
    """One line of named numbers, or none."""
    listed = ", ".join(f"{name} {value:.{told.DECIMALS}f}" for name, value in values.items())
    return [f"{heading}: {listed}."] if values else []


def entries(names: Sequence[str], estimate: "FloatArray", se: "FloatArray") -> dict[str, dict[str, float]]:
    """Estimate and standard error by name; both arrays (p,).

    Parameters
    ----------
    names : p names; estimate, se : (p,) arrays
    """
    return {
        name: {"estimate": float(value), "se": float(error)}
        for name, value, error in zip(names, estimate, se, strict=True)
    }
