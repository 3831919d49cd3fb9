"""The result of a mixed model of answers, of two categories or of three: one class, gathered in one place."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stats.fixed.binary import Link
from stats.fixed.estimates import Estimates
from stats.fixed.likelihood import FloatArray
from stats.mixed.engine import cholesky
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm


@dataclass(frozen=True)
class MixedEstimates(Estimates):
    """Estimates of a mixed model; the covariance is from the full observed information, spreads included."""

    spread: dict[str, float]
    """Standard deviation of each random effect, by term, or by term and column joined by a colon."""
    correlation: dict[str, FloatArray]
    """(k, k) correlations of each correlated term."""
    effects: dict[str, FloatArray]
    """(levels, k) most probable random effects (conditional modes) of each term."""
    effects_se: dict[str, FloatArray]
    """(levels, k) their conditional standard deviations, fixed effects and spreads held."""
    levels: dict[str, int]
    """Number of levels of each term that occur in the answers."""
    loglik: float
    """Laplace log-likelihood; the restricted one where `restricted`."""
    n_rows: int
    n_answers: float
    link: Link
    restricted: bool
    penalised: bool
    """Whether a Jeffreys penalty on the fixed effects kept them finite."""
    separated: bool
    """Whether the plain estimate would be infinite."""
    singular: bool
    """Whether a standard deviation is on its boundary (zero) or a correlation is one."""
    runaway: bool
    """Whether a plain standard deviation grew beyond logistic_mixed.SPREAD_LIMIT, because some listeners
    never waver; what came of it stands at the fit."""
    fit: MixedFit

    def __str__(self) -> str:
        head = f"{self.link} mixed model, {self.n_answers:g} answers, log-likelihood {self.loglik:.3f}"
        return self.text(head, self.spread)


def gathered(
    terms: Sequence[RandomTerm],
    found: MixedFit,
    *,
    names: Sequence[str],
    n_rows: int,
    n_answers: float,
    link: Link,
    runaway: bool,
    separated: bool = False,
    penalised: bool = False,
) -> MixedEstimates:
    """The result of a fit; thresholds, where the likelihood has some, follow the fixed effects.

    Parameters
    ----------
    terms : random terms, each of n rows
    found : the highest point
    names : of the fixed effects
    n_rows, n_answers : rows, and answers behind them
    link : the distribution that the predictor goes through
    runaway, separated, penalised : what happened on the way
    """
    spread, correlation = spreads(terms, found)
    effects, effects_se = _conditional_effects(terms, found)
    return MixedEstimates(
        names=tuple(names),
        estimate=np.concatenate([found.beta, found.shape]),
        covariance=found.covariance,
        spread=spread,
        correlation=correlation,
        effects=effects,
        effects_se=effects_se,
        levels={one.name: int(np.unique(one.level).size) for one in terms},
        loglik=found.loglik,
        n_rows=n_rows,
        n_answers=n_answers,
        link=link,
        restricted=found.restricted,
        penalised=penalised,
        separated=separated,
        singular=found.singular,
        runaway=runaway,
        fit=found,
    )


def spreads(terms: Sequence[RandomTerm], found: MixedFit) -> tuple[dict[str, float], dict[str, FloatArray]]:
    """Standard deviation of every random effect by name, and correlations of the correlated terms."""
    spread: dict[str, float] = {}
    correlation: dict[str, FloatArray] = {}
    for t, first, size, at in found.structure.parts:
        lower = cholesky.factor_matrix(found.theta, size, at)
        covariance = lower @ lower.T
        sd = np.sqrt(np.diag(covariance))
        for j, name in enumerate(terms[t].spread_names()[first : first + size]):
            spread[name] = float(sd[j])
        if size > 1:
            safe = np.where(sd > 0.0, sd, 1.0)
            correlation[terms[t].name] = covariance / np.outer(safe, safe)
    return spread, correlation


def _conditional_effects(
    terms: Sequence[RandomTerm], found: MixedFit
) -> tuple[dict[str, FloatArray], dict[str, FloatArray]]:
    """Modes of the random effects and their conditional standard deviations, (levels, k) by term."""
    effects = {one.name: np.zeros((one.n_levels, one.columns.shape[1])) for one in terms}
    sds = {name: np.zeros_like(value) for name, value in effects.items()}
    for (t, first, size, _), (mode, sd) in zip(
        found.structure.parts, cholesky.level_effects(found.structure, found.theta, found.mode), strict=True
    ):
        effects[terms[t].name][:, first : first + size] = mode
        sds[terms[t].name][:, first : first + size] = sd
    return effects, sds
