"""Cumulative link model: category ratings explained by fixed effects."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from stats.errors import BadData, NotConverged, NotIdentified, Separated
from stats.fixed import newton, tail_areas
from stats.fixed.likelihood import FloatArray, as_floats
from stats.ordinal.cumulative import Cumulative, Link, Spacing
from stats.ordinal.ordinal_estimates import OrdinalEstimates

SEPARATED = 30.0  # standardised predictor units: an estimate beyond it is on its way to infinity

if TYPE_CHECKING:
    pass


@dataclass(frozen=True)
class Ordinal(OrdinalEstimates):
    """Estimates of a cumulative link model, given what was fitted."""

    answers: Cumulative
    x: FloatArray

    def __str__(self) -> str:
        head = f"cumulative {self.link} model, {self.n:g} answers, log-likelihood {self.loglik:.3f}"
        return self.text(head, {})


@dataclass(frozen=True)
class ProportionalCheck:
    """Score test that an effect is the same at every threshold."""

    name: str
    statistic: float
    df: int
    p: float


def fit(
    answers: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str] | None = None,
    categories: Sequence[str] | None = None,
    link: Link = "logit",
    spacing: Spacing = "flexible",
    weight: ArrayLike | None = None,
) -> Ordinal:
    """Maximum-likelihood effects and thresholds: P(answer <= j) = F(threshold_j - x'estimate).

    Parameters
    ----------
    names : one different name a fixed column; made up if not given
    link : the distribution that the predictor goes through
    spacing : how the thresholds lie: flexible, symmetric, mirrored or equidistant
    answers : (n,) whole numbers from 0, the category of each answer
    x : (n, p) fixed columns without an intercept, which the thresholds hold
    categories : labels of the categories, in order; 1, 2 ... if not given
    weight : (n,) how often each row was answered so; ones if not given

    Raises
    ------
    BadData, NotIdentified
    Separated
        An effect is infinite, because it predicts the categories perfectly.

    Source: McCullagh 1980, JRSS B 42, 109-142; Agresti, Categorical Data Analysis, 3rd ed., section 8.2.
    """
    likelihood, columns, labels, between = prepare(
        answers, x, names=names, categories=categories, link=link, spacing=spacing, weight=weight
    )
    found = maximise(likelihood, columns, labels)
    jacobian = threshold_jacobian(likelihood, len(labels))
    return Ordinal(
        names=labels,
        estimate=found.beta,
        thresholds=likelihood.thresholds(found.shape),
        threshold_names=between,
        covariance=jacobian @ found.covariance() @ jacobian.T,
        loglik=found.loglik,
        n=float(likelihood.weight.sum()),
        n_parameters=found.beta.size + found.shape.size,
        link=link,
        spacing=spacing,
        answers=likelihood,
        x=columns,
    )


def proportional_check(model: Ordinal) -> tuple[ProportionalCheck, ...]:
    """For each effect, whether it is the same at every threshold (proportional odds under the logit link).

    The score test needs no fit of the larger model, which often has infinite estimates.

    Raises
    ------
    BadData
        Thresholds that are not flexible, or fewer than 3 categories.

    Source: Peterson & Harrell 1990, Applied Statistics 39, 205-217.
    """
    m = model.thresholds.size
    if model.spacing != "flexible" or m < 2:
        raise BadData(
            f"the check needs flexible thresholds and 3 categories or more; found {model.spacing}, {m + 1}"
        )
    checks = []
    for j, name in enumerate(model.names):
        wide = Cumulative.of(
            model.answers.answer,
            n_categories=m + 1,
            link=model.link,
            weight=model.answers.weight,
            nominal=model.x[:, [j]],
        )
        # at the null the effect is the same everywhere: -estimate at every threshold, none in the predictor
        others = np.delete(model.x, j, axis=1)
        point = np.concatenate(
            [np.delete(model.estimate, j), model.thresholds, np.full(m, -model.estimate[j])]
        )
        _, slope, information = newton.derivatives(wide, others, np.zeros(wide.n_rows), point)
        statistic = float(slope @ np.linalg.solve(information, slope))
        checks.append(
            ProportionalCheck(name, statistic, m - 1, tail_areas.chi_square_above(statistic, m - 1))
        )
    return tuple(checks)


def prepare(
    answers: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str] | None,
    categories: Sequence[str] | None,
    link: Link,
    spacing: Spacing,
    weight: ArrayLike | None,
) -> tuple[Cumulative, FloatArray, tuple[str, ...], tuple[str, ...]]:
    """Checked likelihood, fixed columns, their names, and the thresholds' names.

    Parameters
    ----------
    answers : (n,) category numbers from 0
    x : (n, p) array, the fixed columns
    categories : names of the k categories, lowest first
    link : the distribution that the predictor goes through
    spacing : how the thresholds lie: flexible, symmetric, mirrored or equidistant
    weight : (n,) counts of each row; 1 each if not given

    Raises
    ------
    BadData
        Shapes that do not fit, or names that are too few or alike.
    """
    n_categories = None if categories is None else len(categories)
    likelihood = Cumulative.of(answers, n_categories=n_categories, link=link, spacing=spacing, weight=weight)
    columns = as_floats(x)
    if columns.ndim != 2 or columns.shape[0] != likelihood.n_rows or not np.isfinite(columns).all():
        raise BadData(f"{likelihood.n_rows} answers and fixed columns {columns.shape}; wanted finite (n, p)")
    labels = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(columns.shape[1]))
    if len(labels) != columns.shape[1] or len(set(labels)) != len(labels):
        raise BadData(f"{columns.shape[1]} columns need as many different names, found {labels}")
    shown = categories if categories is not None else [str(j + 1) for j in range(likelihood.n_categories)]
    between = tuple(f"threshold:{low}-{high}" for low, high in itertools.pairwise(shown))
    return likelihood, columns, labels, between


def threshold_jacobian(likelihood: Cumulative, n_effects: int) -> FloatArray:
    """(p + m, p + k) slope of effects and thresholds in effects and shape parameters."""
    m, k = likelihood.to_thresholds.shape
    out = np.zeros((n_effects + m, n_effects + k))
    out[:n_effects, :n_effects] = np.eye(n_effects)
    out[n_effects:, n_effects:] = likelihood.to_thresholds
    return out


def maximise(likelihood: Cumulative, columns: FloatArray, labels: tuple[str, ...]) -> newton.Maximum:
    """The fit itself; NotIdentified and Separated say which columns are at fault.

    Parameters
    ----------
    likelihood : of n rows
    labels : their names

    Raises
    ------
    Separated
        An effect or a threshold is infinite.
    """
    _check_rank(columns)
    try:
        found = newton.maximise(likelihood, columns)
        standardised = np.abs(found.beta * columns.std(axis=0))
        runaway = bool((standardised > SEPARATED).any())
    except (NotConverged, NotIdentified):
        runaway = True
    if runaway:
        raise Separated(
            "an effect or a threshold is infinite: a column predicts the categories perfectly; join "
            "categories, "
            f"or leave out one of {', '.join(labels) or 'the categories'}"
        )
    return found


def _check_rank(columns: FloatArray) -> None:
    with_constant = np.column_stack([np.ones(columns.shape[0]), columns])
    length = np.linalg.norm(with_constant, axis=0)
    if np.linalg.matrix_rank(with_constant / np.where(length > 0, length, 1.0)) < with_constant.shape[1]:
        raise NotIdentified(
            "the columns repeat each other, or one is constant (the thresholds already hold the intercept): "
            "drop one"
        )
