"""Cumulative link mixed model: category ratings with effects that vary over listeners and stimuli."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from stats.mixed import mixed_estimates
from stats.mixed.engine import gauss_hermite, laplace_fit
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm
from stats.ordinal.cumulative import Link, Spacing
from stats.ordinal.cumulative_link import maximise, prepare, threshold_jacobian
from stats.ordinal.ordinal_estimates import OrdinalEstimates

if TYPE_CHECKING:
    pass


@dataclass(frozen=True)
class OrdinalMixed(OrdinalEstimates):
    """Estimates of a cumulative link mixed model, given the random effects."""

    spread: dict[str, float]
    """Standard deviation of each random effect, by term, or by term and column joined by a colon."""
    singular: bool
    fit: MixedFit

    def __str__(self) -> str:
        head = f"cumulative {self.link} mixed model, {self.n:g} answers, log-likelihood {self.loglik:.3f}"
        return self.text(head, self.spread)


def fit(
    answers: ArrayLike,
    x: ArrayLike,
    terms: Sequence[RandomTerm],
    *,
    names: Sequence[str] | None = None,
    categories: Sequence[str] | None = None,
    link: Link = "logit",
    spacing: Spacing = "flexible",
    weight: ArrayLike | None = None,
    nodes: int = 1,
) -> OrdinalMixed:
    """Laplace (or adaptive Gauss-Hermite) fit of P(answer <= j) = F(threshold_j - x'estimate - random
    effects).

    Parameters
    ----------
    names : one different name a fixed column; made up if not given
    link : the distribution that the predictor goes through
    spacing : how the thresholds lie: flexible, symmetric, mirrored or equidistant
    answers : (n,) whole numbers from 0, the category of each answer
    x : (n, p) fixed columns without an intercept, which the thresholds hold
    terms : random terms (`random_terms.term`), intercepts or slopes, crossed or nested
    categories : labels of the categories, in order; 1, 2 ... if not given
    weight : (n,) how often each row was answered so; ones if not given
    nodes : points of the integral over each level's effects, for one grouping; 1 is Laplace's approximation

    Raises
    ------
    BadData, NotIdentified, NotConverged, Separated

    Source: Tutz & Hennevogl 1996, Comput. Stat. Data Anal. 22; Christensen & Brockhoff 2013, J. SFdS 154(3).
    """
    likelihood, columns, labels, between = prepare(
        answers, x, names=names, categories=categories, link=link, spacing=spacing, weight=weight
    )
    plain = maximise(likelihood, columns, labels)
    offset = np.zeros(likelihood.n_rows)
    start = np.concatenate([plain.beta, plain.shape])
    scale = np.sqrt(np.diag(plain.covariance()))
    found = laplace_fit.fit(likelihood, columns, terms, offset=offset, start=start, scale=scale)
    found = gauss_hermite.refine(likelihood, columns, terms, found, offset=offset, nodes=nodes)
    laplace_fit.check_finite_fit(found)
    jacobian = threshold_jacobian(likelihood, len(labels))
    return OrdinalMixed(
        names=labels,
        estimate=found.beta,
        thresholds=likelihood.thresholds(found.shape),
        threshold_names=between,
        covariance=jacobian @ found.covariance @ jacobian.T,
        spread=mixed_estimates.spreads(terms, found)[0],
        loglik=found.loglik,
        n=float(likelihood.weight.sum()),
        n_parameters=found.beta.size + found.shape.size + found.theta.size,
        link=link,
        spacing=spacing,
        singular=found.singular,
        fit=found,
    )
