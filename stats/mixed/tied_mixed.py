"""Mixed model of three-category answers (first, no difference, second), ties by Davidson or by Rao-Kupper."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from stats.errors import BadData, Separated
from stats.fixed import newton
from stats.fixed.likelihood import FloatArray, IntArray, Likelihood, as_floats
from stats.mixed import logistic_mixed, mixed_estimates
from stats.mixed.engine import cholesky, laplace_fit
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates
from stats.ordinal.cumulative import Cumulative
from stats.pairs.bradley_terry import PairLink, Ties
from stats.pairs.davidson import Davidson

if TYPE_CHECKING:
    pass


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
) -> MixedEstimates:
    """Laplace fit of the three-category model with random terms.

    Parameters
    ----------
    ties : model of the answers without a winner
    link : the distribution that the predictor goes through
    names : one different name a fixed column; made up if not given
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
    return mixed_estimates.gathered(
        terms,
        found,
        names=(*labels, "log_nu" if ties == "davidson" else "eta"),
        n_rows=answers.size,
        n_answers=float(counts.sum()),
        link=link,
        runaway=cholesky.largest_spread(found.structure, found.theta) > logistic_mixed.SPREAD_LIMIT,
    )


def as_choices(found: MixedEstimates) -> MixedEstimates:
    """The part of a Rao-Kupper fit that speaks of choices: without its threshold, `eta`.

    The estimates are the log-odds of a choice between the two if `no difference` could not be answered.
    """
    p = len(found.names) - 1
    return replace(
        found, names=found.names[:p], estimate=found.estimate[:p], covariance=found.covariance[:p, :p]
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
