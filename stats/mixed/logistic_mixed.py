"""Mixed model of binary answers: fixed effects, listener slopes, random stimuli, a known offset."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.errors import BadData, NotConverged, NotIdentified, Separated
from stats.fixed import firth, newton, separation
from stats.fixed.binary import Binary, Link
from stats.fixed.likelihood import FloatArray, as_floats
from stats.mixed import mixed_estimates
from stats.mixed.engine import cholesky, gauss_hermite, laplace_fit
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates

Penalty = Literal["never", "if separated", "always"]
Bounded = Literal["if they run away", "always"]
_SUSPECT = 15.0  # logits; fitted predictors beyond it make the check for separation worth its time
SPREAD_LIMIT = 20.0  # predictor units; a standard deviation beyond it says that some listeners never waver
SPREAD_PRIOR = 3.0  # predictor units; half-normal scale that then keeps the standard deviations finite

if TYPE_CHECKING:
    pass


@dataclass(frozen=True)
class Model:
    """Checked input of a fit."""

    answers: Binary
    x: FloatArray
    terms: tuple[RandomTerm, ...]
    offset: FloatArray
    names: tuple[str, ...]


def fit(
    answers: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
    names: Sequence[str] | None = None,
    link: Link = "logit",
    restricted: bool = False,
    penalty: Penalty = "if separated",
    nodes: int = 1,
) -> MixedEstimates:
    """Laplace fit of P(success) = link^-1(offset + x'beta + random terms).

    Parameters
    ----------
    answers : (n,) 1 or 0; or successes out of `trials`
    x : (n, p) fixed columns; a column of ones for the advantage of the first interval
    terms : random terms from `random_terms.term` and `random_terms.pair_term`
    trials : (n,) answers in each row, ones if not given
    offset : (n,) known part of the predictor, zeros if not given
    names : p names of the fixed effects
    restricted : choose the standard deviations by the likelihood with the fixed effects integrated out;
        use it to decide with few stimuli or listeners, where plain maximum likelihood makes them too small
    nodes : adaptive Gauss-Hermite points an effect (one grouping, up to 3 effects); 1 is Laplace
    penalty : when to add log det(fixed effects' information) / 2, which keeps separated effects finite

    Raises
    ------
    BadData, NotIdentified, NotConverged
    Separated
        A fixed effect is infinite and penalty="never".

    Where a plain standard deviation grows beyond SPREAD_LIMIT, the estimates come from a fit whose standard
    deviations have a half-normal prior of SPREAD_PRIOR.

    Source: Pinheiro & Bates 1995; Lee & Nelder 2001, Biometrika 88 (restricted); Firth 1993 (penalty).
    """
    model = check(answers, x, terms, trials=trials, offset=offset, names=names, link=link)
    plain = fit_model(model, restricted=restricted, penalty=penalty, bounded="if they run away")
    return plain if nodes == 1 else _with_nodes(model, plain, nodes)


def _with_nodes(model: Model, plain: MixedEstimates, nodes: int) -> MixedEstimates:
    if plain.restricted or plain.penalised or plain.runaway:
        raise BadData("Gauss-Hermite nodes go with the plain likelihood of answers that are not separated")
    found = gauss_hermite.refine(
        model.answers, model.x, model.terms, plain.fit, offset=model.offset, nodes=nodes
    )
    return _result(model, found, penalised=False, separated=False, runaway=False)


def fit_model(model: Model, *, restricted: bool, penalty: Penalty, bounded: Bounded) -> MixedEstimates:
    """Laplace fit of checked input; `bounded` says whether standard deviations have their prior always.

    Parameters
    ----------
    model : checked answers, columns and terms
    restricted : whether fixed effects are integrated out for the standard deviations
    penalty : on the fixed effects, where answers are separated

    Raises
    ------
    BadData
        The penalty is wanted under another link than the logit.
    """
    start, scale, separated = _start(model, penalty)
    penalised = penalty == "always" or (penalty == "if separated" and separated)
    if penalised and model.answers.link != "logit":
        raise BadData(
            f"the penalty needs the logit link; the answers are separated under {model.answers.link}"
        )
    # where an effect is infinite, a flat integral over it is too: plain likelihood then sets the spreads
    restricted = restricted and not penalised
    found, runaway = _climb(model, start, scale, restricted=restricted, penalised=penalised, bounded=bounded)
    laplace_fit.check_finite_fit(found)
    return _result(model, found, penalised=penalised, separated=separated, runaway=runaway)


def _climb(
    model: Model,
    start: FloatArray,
    scale: FloatArray,
    *,
    restricted: bool,
    penalised: bool,
    bounded: Bounded,
) -> tuple[MixedFit, bool]:
    """The fit, with bounded standard deviations if one of them ran away; whether it did."""

    def climb(prior: float) -> MixedFit:
        return laplace_fit.fit(
            model.answers,
            model.x,
            model.terms,
            offset=model.offset,
            start=start,
            scale=scale,
            restricted=restricted,
            penalised=penalised,
            spread_prior=prior,
        )

    if bounded == "always":
        return climb(SPREAD_PRIOR), True
    try:
        found = climb(np.inf)
        if cholesky.largest_spread(found.structure, found.theta) <= SPREAD_LIMIT:
            return found, False
    except NotConverged:
        pass
    return climb(SPREAD_PRIOR), True


def check(
    answers: FloatArray,
    x: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    trials: FloatArray | None = None,
    offset: FloatArray | None = None,
    names: Sequence[str] | None = None,
    link: Link = "logit",
) -> Model:
    """Arrays of one length with finite values, or BadData that says which is not.

    Parameters
    ----------
    answers : (n,) array: 0 or 1, or counts of successes where `trials` are given
    x : (n, p) array, the fixed columns
    terms : random terms, each of n rows
    trials : (n,) counts of answers behind each row; 1 each if not given
    offset : (n,) added to the predictor of each row; 0 if not given
    names : one different name a fixed column; made up if not given
    link : the distribution that the predictor goes through

    Raises
    ------
    BadData
        Shapes that do not fit, numbers that are not finite, impossible counts, too few names.
    """
    won, x = as_floats(answers), as_floats(x)
    total = np.ones_like(won) if trials is None else as_floats(trials)
    base = np.zeros_like(won) if offset is None else as_floats(offset)
    if x.ndim != 2 or not x.shape[0] == won.size == base.size == total.size:
        raise BadData(f"{won.size} answers, columns {x.shape}, {base.size} offsets, {total.size} trials")
    if not (np.isfinite(x).all() and np.isfinite(base).all()):
        raise BadData("columns and offset must be finite")
    if (won > total).any():
        raise BadData("more successes than trials; answers are 0 or 1, or counts with `trials`")
    for one in terms:
        if one.level.shape[0] != won.size:
            raise BadData(f"random term {one.name!r} has {one.level.shape[0]} rows, the answers {won.size}")
    labels = tuple(names) if names is not None else tuple(f"x{j + 1}" for j in range(x.shape[1]))
    if len(labels) != x.shape[1] or len(set(labels)) != len(labels):
        raise BadData(f"{x.shape[1]} columns need as many different names, found {labels}")
    return Model(Binary.of(won, total - won, link), x, tuple(terms), base, labels)


def _start(model: Model, penalty: Penalty) -> tuple[FloatArray, FloatArray, bool]:
    """Estimates without random terms, rough standard errors, and whether the answers are separated."""
    if model.x.shape[1] == 0:
        return np.zeros(0), np.zeros(0), False
    try:
        plain = newton.maximise(model.answers, model.x, offset=model.offset)
        suspect = np.abs(model.x @ plain.beta).max() > _SUSPECT
    except (NotConverged, NotIdentified):
        plain = firth.maximise(model.answers, model.x, offset=model.offset)
        suspect = True
    separated = suspect and separation.direction(model.x, model.answers.won, model.answers.lost) is not None
    if separated and penalty == "never":
        raise Separated(
            f"{_at_fault(model)}: the answers are predicted perfectly, so the estimate is infinite; "
            'use penalty="if separated", or mixed_profile.bound for a one-sided limit'
        )
    if separated or penalty == "always":
        plain = firth.maximise(model.answers, model.x, offset=model.offset)
    return plain.beta, np.sqrt(np.diag(plain.covariance())), separated


def _at_fault(model: Model) -> str:
    way = separation.direction(model.x, model.answers.won, model.answers.lost)
    if way is None:
        return "some effect"
    return ", ".join(name for name, size in zip(model.names, np.abs(way), strict=True) if size > 1e-9)


def _result(
    model: Model, found: MixedFit, *, penalised: bool, separated: bool, runaway: bool
) -> MixedEstimates:
    return mixed_estimates.gathered(
        model.terms,
        found,
        names=model.names,
        n_rows=model.answers.n_rows,
        n_answers=float((model.answers.won + model.answers.lost).sum()),
        link=model.answers.link,
        penalised=penalised,
        separated=separated,
        runaway=runaway,
    )
