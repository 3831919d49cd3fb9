"""One-sided limits of a fixed effect of a logistic mixed model by profile likelihood."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from stats.fixed import profile
from stats.fixed.binary import Link
from stats.fixed.likelihood import FloatArray
from stats.mixed import logistic_mixed
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.logistic_mixed import Bounded

_FAR = 20.0  # logits beyond a penalised estimate where the likelihood of separated answers is flat


def bound(
    answers: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    column: int,
    level: float,
    side: Literal["lower", "upper"],
    df: float = np.inf,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
    link: Link = "logit",
) -> float:
    """One-sided limit of fixed effect `column` by profile likelihood, also where its estimate is infinite.

    Parameters
    ----------
    answers : (n,) array: 0 or 1, or counts of successes where `trials` are given
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    side : which limit
    trials : (n,) counts of answers behind each row; 1 each if not given
    offset : (n,) added to the predictor of each row; 0 if not given
    link : the distribution that the predictor goes through
    level : one-sided confidence, e.g. 0.95
    df : degrees of freedom of the t quantile that sets the drop; infinite for chi-square

    24 of 24 listeners choosing the first stimulus every time have no finite estimate but a finite lower
    limit. Raises as `logistic_mixed.fit` does.

    Source: Venzon & Moolgavkar 1988, Applied Statistics 37(1).
    """
    model = logistic_mixed.check(answers, x, terms, trials=trials, offset=offset, link=link)
    whole = logistic_mixed.fit_model(
        model, restricted=False, penalty="if separated", bounded="if they run away"
    )
    bounded: Bounded = "always" if whole.runaway else "if they run away"
    others, names = np.delete(model.x, column, axis=1), tuple(np.delete(model.names, column))

    def at(value: float) -> float:
        shifted = model.offset + value * model.x[:, column]
        held = replace(model, x=others, names=names, offset=shifted)
        rest = logistic_mixed.fit_model(held, restricted=False, penalty="if separated", bounded=bounded)
        return rest.loglik + rest.fit.penalty

    top, se = float(whole.estimate[column]), float(whole.se[column])
    best = at(top)
    if whole.separated:
        # the supremum may lie at infinity: walk outwards
        best = max(best, *(at(top + far) for far in (-_FAR, _FAR)))
    fall = profile.drop(level, df=df)
    return profile.limit(at, top=top, top_loglik=best, fall=fall, step=se, side=side, tolerance=1e-5)
