"""Strengths of items from paired comparisons: Bradley-Terry (logit) and Thurstone's case V (probit)."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats import threads
from stats.errors import BadData, NotConverged, NotIdentified, Separated
from stats.fixed import firth, frames, newton, separation, tail_areas
from stats.fixed.binary import Binary
from stats.fixed.likelihood import FloatArray, IntArray, Likelihood, as_floats
from stats.fixed.newton import Maximum
from stats.ordinal.cumulative import Cumulative
from stats.pairs import comparisons
from stats.pairs.comparisons import Comparisons
from stats.pairs.davidson import Davidson
from stats.pairs.pair_design import Columns, Design, PairDesign

PairLink = Literal["logit", "probit"]
Ties = Literal["davidson", "rao-kupper"]
_SUSPECT = 12.0  # predictor units; fitted values beyond it make a check for separation worth its time

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Strengths:
    """Estimates of a paired-comparison model.

    Names and estimates: items without the reference (or covariates), `order`, then `log_nu` or `eta`.
    """

    names: tuple[str, ...]
    estimate: FloatArray
    covariance: FloatArray
    loglik: float
    """Without multinomial coefficients."""
    data: Comparisons
    reference: str | None
    """The item whose strength is zero; None with covariates."""
    link: PairLink
    ties: Ties | None
    penalised: bool
    design: Design
    likelihood: Likelihood

    @property
    def se(self) -> FloatArray:
        """(p,) standard errors."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def n(self) -> float:
        """Number of answers."""
        return self.data.n

    def predictor(self) -> FloatArray:
        """(n,) fitted linear predictor of every ordered pair, order effect included."""
        return self.design.predictor(self.estimate[: self.design.n_columns])

    def expected_se(self) -> FloatArray:
        """(p,) standard errors from the expected information (binary answers); under a logit the same."""
        answers = _binary(self.likelihood)
        weight = firth.expected_weight(self.predictor(), answers.link)[0] * (answers.won + answers.lost)
        return np.sqrt(np.diag(newton.inverse(self.design.gram(weight))))

    def strengths(self) -> tuple[FloatArray, FloatArray]:
        """(k,) strengths with the reference's zero, and their (k, k) covariance; raises with covariates."""
        if self.reference is None:
            raise BadData("a model with covariates has no free strengths")
        k = len(self.data.items)
        at = self.data.items.index(self.reference)
        others = [j for j in range(k) if j != at]
        value, covariance = np.zeros(k), np.zeros((k, k))
        value[others] = self.estimate[: k - 1]
        covariance[np.ix_(others, others)] = self.covariance[: k - 1, : k - 1]
        return value, covariance

    def centred(self) -> tuple[FloatArray, FloatArray]:
        """(k,) strengths that sum to zero, and their (k, k) covariance."""
        value, covariance = self.strengths()
        k = value.size
        centre = np.eye(k) - 1.0 / k
        return value - value.mean(), centre @ covariance @ centre.T

    def difference(self, first: str, second: str) -> tuple[float, float]:
        """Strength of `first` minus that of `second`, and its standard error."""
        value, covariance = self.strengths()
        a, b = self.data.items.index(first), self.data.items.index(second)
        variance = covariance[a, a] + covariance[b, b] - 2.0 * covariance[a, b]
        return float(value[a] - value[b]), float(np.sqrt(variance))

    def to_frame(self) -> "pd.DataFrame":
        """Estimates and standard errors, a row each name."""
        return frames.frame({"estimate": self.estimate, "se": self.se}, self.names)

    def __str__(self) -> str:
        head = f"paired comparison, {self.link}, {self.n:g} answers, log-likelihood {self.loglik:.3f}"
        zero = "" if self.reference is None else f"\n{self.reference} is the reference, at zero"
        return f"{head}{zero}\n{self.to_frame().to_string(float_format='%.4f')}"


@dataclass(frozen=True)
class RatioTest:
    """Likelihood-ratio test of a model against a larger one."""

    statistic: float
    df: int
    p: float


def fit(
    data: Comparisons,
    *,
    link: PairLink = "logit",
    order: bool = False,
    ties: Ties | None = None,
    reference: str | None = None,
    covariates: FloatArray | None = None,
    covariate_names: tuple[str, ...] | None = None,
    penalised: bool = False,
) -> Strengths:
    """Maximum-likelihood strengths of the items, or slopes of covariates that replace them.

    Parameters
    ----------
    link : the distribution that the predictor goes through
    covariate_names : one a column of `covariates`
    order : also estimate the advantage of the first interval
    ties : how "no difference" is modelled; without it, data with ties are refused
    reference : the item at zero; the first in order if not given
    covariates : (n, p) differences first minus second, a row each ordered pair of `data`; or (k, p), a row
        each item
    penalised : Firth's fit, finite even when an item never lost (binary answers only)

    Raises
    ------
    NotConnected
        Groups of items were never compared; the message names them.
    Separated
        Some items never lost to the rest, so a strength is infinite; the message names them.
    BadData, NotIdentified, NotConverged

    Source: Bradley & Terry 1952, Biometrika 39; Thurstone 1927, Psychol. Rev. 34; Davidson 1970, JASA 65;
    Davidson & Beaver 1977, Biometrics 33; Rao & Kupper 1967, JASA 62; Firth 1993, Biometrika 80.
    """
    _check_choices(data, link, ties, penalised)
    with threads.single():
        return _fit(data, link, order, ties, reference, covariates, covariate_names, penalised)


def _fit(
    data: Comparisons,
    link: PairLink,
    order: bool,
    ties: Ties | None,
    reference: str | None,
    covariates: FloatArray | None,
    covariate_names: tuple[str, ...] | None,
    penalised: bool,
) -> Strengths:
    design, names, zero = _design(data, order, reference, covariates, covariate_names)
    answers, rows = likelihood(data, link, ties)
    whole = _rows_of(design, rows)
    if penalised:
        found = firth.maximise(_binary(answers), whole.dense())
    else:
        found = _maximise(data, answers, design, whole, names)
    shape_name = {None: (), "davidson": ("log_nu",), "rao-kupper": ("eta",)}[ties]
    return Strengths(
        names=names + shape_name,
        estimate=np.concatenate([found.beta, found.shape]),
        covariance=found.covariance(),
        loglik=found.loglik,
        data=data,
        reference=zero,
        link=link,
        ties=ties,
        penalised=penalised,
        design=design,
        likelihood=answers,
    )


def _check_choices(data: Comparisons, link: PairLink, ties: Ties | None, penalised: bool) -> None:
    if ties is None and data.has_ties:
        raise BadData(
            f"{data.tied.sum():g} answers are ties: choose a model of ties (davidson or rao-kupper), "
            "or count a tie as half a win for each"
        )
    if ties == "davidson" and link != "logit":
        raise BadData("Davidson's model of ties is a logit model; use rao-kupper with the probit link")
    if ties is not None and penalised:
        raise BadData("the penalised fit is for binary answers; count a tie as half a win for each")
    if ties is not None and not (data.has_ties and (data.won.sum() + data.lost.sum()) > 0):
        what = "no answer is a tie" if not data.has_ties else "every answer is a tie"
        raise Separated(f"{what}, so the readiness to answer a tie is infinite: leave the model of ties out")


def _design(
    data: Comparisons,
    order: bool,
    reference: str | None,
    covariates: FloatArray | None,
    covariate_names: tuple[str, ...] | None,
) -> tuple[Design, tuple[str, ...], str | None]:
    last = ("order",) if order else ()
    if covariates is None:
        comparisons.check_connected(data)
        zero = data.items[0] if reference is None else reference
        if zero not in data.items:
            raise BadData(f"reference {zero!r} is not an item; items are {', '.join(data.items)}")
        at = data.items.index(zero)
        names = tuple(name for name in data.items if name != zero)
        return PairDesign(data.first, data.second, len(data.items), at, order), names + last, zero
    x = as_floats(covariates)
    x = x[:, None] if x.ndim == 1 else x
    if x.shape[0] != data.first.size and x.shape[0] == len(data.items):
        x = x[data.first] - x[data.second]
    if x.shape[0] != data.first.size or not np.isfinite(x).all():
        raise BadData(
            f"covariates {x.shape}: wanted a finite row for each of {data.first.size} ordered pairs"
        )
    names = covariate_names or tuple(f"x{j + 1}" for j in range(x.shape[1]))
    return Columns(np.column_stack([x, np.ones(x.shape[0])]) if order else x), tuple(names) + last, None


def likelihood(data: Comparisons, link: PairLink, ties: Ties | None) -> tuple[Likelihood, IntArray | None]:
    """The answers' likelihood, and which entry of `data` each of its rows is of (None: one row each).

    Parameters
    ----------
    link : the distribution that the predictor goes through
    ties : model of the answers without a winner; None: there are none
    """
    if ties is None:
        return Binary.of(data.won, data.lost, link), None
    if ties == "davidson":
        return Davidson.of(data.won, data.tied, data.lost), None
    n = data.first.size
    category, count = np.repeat([2, 1, 0], n), np.concatenate([data.won, data.tied, data.lost])
    keep = count > 0
    answers = Cumulative.of(category[keep], n_categories=3, weight=count[keep], spacing="mirrored", link=link)
    return answers, np.tile(np.arange(n), 3)[keep]


def _rows_of(design: Design, rows: IntArray | None) -> Design:
    if rows is None:
        return design
    if isinstance(design, Columns):
        return Columns(design.x[rows])
    return PairDesign(design.first[rows], design.second[rows], design.n_items, design.reference, design.order)


def _binary(answers: Likelihood) -> Binary:
    if not isinstance(answers, Binary):
        raise BadData("the penalised fit is for binary answers")
    return answers


def _maximise(
    data: Comparisons, answers: Likelihood, design: Design, whole: Design, names: tuple[str, ...]
) -> Maximum:
    """Highest likelihood; `whole` has a row for each row of the answers, `design` for each entry of data."""
    if isinstance(design, PairDesign):
        comparisons.check_strong(data)
    try:
        found = newton.maximise(answers, whole)
    except (NotConverged, NotIdentified):
        _blame(data, design, names)
        raise
    if np.abs(design.predictor(found.beta)).max(initial=0.0) > _SUSPECT:
        _blame(data, design, names)
    return found


def _blame(data: Comparisons, design: Design, names: tuple[str, ...]) -> None:
    """Raise Separated with the names at fault if some direction predicts every answer."""
    way = separation.direction(design.dense(), data.won + data.tied, data.lost + data.tied)
    if way is None:
        return
    size = np.abs(way) / np.abs(way).max()
    faulty = ", ".join(name for name, part in zip(names, size, strict=True) if part > 1e-6)
    raise Separated(
        f"{faulty}: the answers are predicted perfectly, so an estimate is infinite: add trials, "
        "drop the term, or use the penalised fit"
    )


def equal_loglik(found: Strengths) -> tuple[float, int]:
    """Log-likelihood if all items are equally strong (order effect and ties kept), and its parameters."""
    nothing = np.zeros((found.data.first.size, 0))
    base = fit(
        found.data,
        link=found.link,
        order="order" in found.names,
        ties=found.ties,
        covariates=nothing,
        covariate_names=(),
    )
    return base.loglik, base.estimate.size


def compare(small: Strengths, large: Strengths) -> RatioTest:
    """Likelihood-ratio test that the larger model adds nothing: covariates against free strengths, order...

    Raises BadData if `large` has no more parameters than `small` or the data differ.
    """
    df = large.estimate.size - small.estimate.size
    if df <= 0 or small.n != large.n:
        raise BadData("the second model must contain the first: more parameters, the same answers")
    statistic = max(0.0, 2.0 * (large.loglik - small.loglik))
    return RatioTest(statistic, df, tail_areas.chi_square_above(statistic, df))


def equality(found: Strengths) -> RatioTest:
    """Likelihood-ratio test that all items are equally strong."""
    base, parameters = equal_loglik(found)
    df = found.estimate.size - parameters
    statistic = max(0.0, 2.0 * (found.loglik - base))
    return RatioTest(statistic, df, tail_areas.chi_square_above(statistic, df))
