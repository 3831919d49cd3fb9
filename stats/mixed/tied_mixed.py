"""Mixed model of three-category answers (first, no difference, second), ties by Davidson or by Rao-Kupper."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stats.errors import BadData, Separated
from stats.fixed import frames, newton
from stats.fixed.likelihood import FloatArray, IntArray, Likelihood, as_floats
from stats.mixed import logistic_mixed
from stats.mixed.engine import cholesky, laplace_fit
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.logistic_mixed import LogisticMixed
from stats.ordinal.cumulative import Cumulative
from stats.pairs.bradley_terry import PairLink, Ties
from stats.pairs.davidson import Davidson

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class TiedMixed:
    """Estimates of the three-category ordinal mixed model."""

    names: tuple[str, ...]
    """Fixed effects, then `log_nu` (Davidson) or `eta` (Rao-Kupper)."""
    estimate: FloatArray
    covariance: FloatArray
    spread: dict[str, float]
    correlation: dict[str, FloatArray]
    loglik: float
    n_answers: float
    singular: bool
    runaway: bool
    """Whether a standard deviation grew beyond logistic_mixed.SPREAD_LIMIT."""
    fit: MixedFit

    @property
    def se(self) -> FloatArray:
        """(p + 1,) standard errors."""
        return np.sqrt(np.diag(self.covariance))

    def to_frame(self) -> "pd.DataFrame":
        """Estimates and standard errors, a row each name."""
        return frames.frame({"estimate": self.estimate, "se": self.se}, self.names)

    def __str__(self) -> str:
        head = f"three-category mixed model, {self.n_answers:g} answers, log-likelihood {self.loglik:.3f}"
        spread = "\n".join(f"spread {name}: {value:.4f}" for name, value in self.spread.items())
        return f"{head}\n{self.to_frame().to_string(float_format='%.4f')}\n{spread}"


def fit(
    answers: IntArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    ties: Ties = "rao-kupper",
    link: PairLink = "logit",
    count: FloatArray | None = None,
    offset: FloatArray | None = None,
    names: Sequence[str] | None = None,
    restricted: bool = False,
) -> TiedMixed:
    """Laplace fit of the three-category model with random terms.

    Parameters
    ----------
    answers : (n,) 1 first, 0 no difference, -1 second
    x : (n, p) fixed columns, first minus second; a column of ones for the advantage of the first interval
    count : (n,) how often each row was answered so, ones if not given
    offset : (n,) known part of the predictor, zeros if not given
    restricted : as `logistic_mixed.fit` has it; use it to decide with few stimuli or listeners

    Rao-Kupper's model is the cumulative model with thresholds at -eta and +eta; Davidson's is the
    adjacent-category model, logit only.

    Raises
    ------
    BadData, Separated, NotIdentified, NotConverged
    """
    answers, x = np.asarray(answers), as_floats(x)
    counts = np.ones(answers.size) if count is None else as_floats(count)
    known = np.zeros(answers.size) if offset is None else as_floats(offset)
    _check(answers, x, counts, ties, link)
    likelihood = _likelihood(answers, counts, ties, link)
    labels = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(x.shape[1]))
    plain = newton.maximise(likelihood, x, offset=known)
    start = np.concatenate([plain.beta, plain.shape])
    found = laplace_fit.fit(
        likelihood,
        x,
        terms,
        offset=known,
        start=start,
        scale=np.sqrt(np.diag(plain.covariance())),
        restricted=restricted,
    )
    laplace_fit.check_finite_fit(found)
    spread, correlation = logistic_mixed.spreads(terms, found)
    return TiedMixed(
        names=(*labels, "log_nu" if ties == "davidson" else "eta"),
        estimate=np.concatenate([found.beta, found.shape]),
        covariance=found.covariance,
        spread=spread,
        correlation=correlation,
        loglik=found.loglik,
        n_answers=float(counts.sum()),
        singular=found.singular,
        runaway=cholesky.largest_spread(found.structure, found.theta) > logistic_mixed.SPREAD_LIMIT,
        fit=found,
    )


def as_choices(found: TiedMixed, terms: Sequence[RandomTerm]) -> LogisticMixed:
    """The part of a Rao-Kupper fit that speaks of choices: without its threshold, `eta`.

    The estimates are the log-odds of a choice between the two if `no difference` could not be answered.
    """
    effects, effects_se = logistic_mixed.conditional_effects(terms, found.fit)
    p = len(found.names) - 1
    return LogisticMixed(
        names=found.names[:p],
        estimate=found.estimate[:p],
        covariance=found.covariance[:p, :p],
        spread=found.spread,
        correlation=found.correlation,
        effects=effects,
        effects_se=effects_se,
        levels={one.name: int(np.unique(one.level).size) for one in terms},
        loglik=found.loglik,
        n_rows=int(found.n_answers),
        n_answers=found.n_answers,
        link="logit",
        restricted=found.fit.restricted,
        penalised=False,
        separated=False,
        singular=found.singular,
        runaway=found.runaway,
        converged=True,
        fit=found.fit,
    )


def _check(answers: IntArray, x: FloatArray, counts: FloatArray, ties: Ties, link: PairLink) -> None:
    if not np.isin(answers, (-1, 0, 1)).all():
        raise BadData("answers are 1 (first), 0 (no difference) or -1 (second)")
    if x.ndim != 2 or not x.shape[0] == answers.size == counts.size:
        raise BadData(f"{answers.size} answers, columns {x.shape}, {counts.size} counts: wanted one length")
    if ties == "davidson" and link != "logit":
        raise BadData("Davidson's model of ties is a logit model; use rao-kupper with the probit link")
    for code, word in ((1, "first"), (0, "tie"), (-1, "second")):
        if counts[answers == code].sum() == 0:
            raise Separated(f"nobody answered {word!r}: an estimate is infinite; leave the model of ties out")


def _likelihood(answers: IntArray, counts: FloatArray, ties: Ties, link: PairLink) -> Likelihood:
    if ties == "davidson":
        return Davidson.of(*(counts * (answers == code) for code in (1, 0, -1)))
    return Cumulative.of(answers + 1, n_categories=3, weight=counts, spacing="mirrored", link=link)
