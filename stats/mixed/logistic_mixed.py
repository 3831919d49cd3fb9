"""Mixed model of binary answers: fixed effects, listener slopes, random stimuli, a known offset."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.errors import BadData, NotConverged, NotIdentified, Separated
from stats.fixed import firth, frames, newton, separation
from stats.fixed.binary import Binary, Link
from stats.fixed.likelihood import FloatArray, as_floats
from stats.mixed.engine import cholesky, gauss_hermite, laplace_fit
from stats.mixed.engine.laplace_fit import MixedFit
from stats.mixed.engine.random_terms import RandomTerm

Penalty = Literal["never", "if separated", "always"]
Bounded = Literal["if they run away", "always"]
_SUSPECT = 15.0  # logits; fitted predictors beyond it make the check for separation worth its time
SPREAD_LIMIT = 20.0  # predictor units; a standard deviation beyond it says that some listeners never waver
SPREAD_PRIOR = 3.0  # predictor units; half-normal scale that then keeps the standard deviations finite

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class LogisticMixed:
    """Estimates of a mixed model of binary answers."""

    names: tuple[str, ...]
    estimate: FloatArray
    """(p,) fixed effects, in predictor units (logits under the logit link)."""
    covariance: FloatArray
    """(p, p) from the inverse of the full observed information, standard deviations included."""
    spread: dict[str, float]
    """Standard deviation of each random effect, by `term` or `term:column`."""
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
    """Whether a plain standard deviation grew beyond SPREAD_LIMIT, because some listeners never waver: the
    estimates then come from a fit whose standard deviations have a half-normal prior of SPREAD_PRIOR."""
    converged: bool
    fit: MixedFit

    @property
    def se(self) -> FloatArray:
        """(p,) standard errors."""
        return np.sqrt(np.diag(self.covariance))

    def contrast(self, weights: FloatArray) -> tuple[float, float]:
        """Estimate and standard error of a weighted sum of the fixed effects, weights (p,)."""
        weights = as_floats(weights)
        return float(weights @ self.estimate), float(np.sqrt(weights @ self.covariance @ weights))

    def to_frame(self) -> "pd.DataFrame":
        """Estimates and standard errors, a row each fixed effect."""
        return frames.frame({"estimate": self.estimate, "se": self.se}, self.names)

    def __str__(self) -> str:
        head = f"{self.link} mixed model, {self.n_answers:g} answers, log-likelihood {self.loglik:.3f}"
        spread = "\n".join(f"spread {name}: {value:.4f}" for name, value in self.spread.items())
        return f"{head}\n{self.to_frame().to_string(float_format='%.4f')}\n{spread}"


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
) -> LogisticMixed:
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

    Source: Pinheiro & Bates 1995; Lee & Nelder 2001, Biometrika 88 (restricted); Firth 1993 (penalty).
    """
    model = check(answers, x, terms, trials=trials, offset=offset, names=names, link=link)
    plain = fit_model(model, restricted=restricted, penalty=penalty, bounded="if they run away")
    return plain if nodes == 1 else _with_nodes(model, plain, nodes)


def _with_nodes(model: Model, plain: LogisticMixed, nodes: int) -> LogisticMixed:
    if plain.restricted or plain.penalised or plain.runaway:
        raise BadData("Gauss-Hermite nodes go with the plain likelihood of answers that are not separated")
    found = gauss_hermite.refine(
        model.answers, model.x, model.terms, plain.fit, offset=model.offset, nodes=nodes
    )
    return _result(model, found, penalised=False, separated=False, runaway=False)


def fit_model(model: Model, *, restricted: bool, penalty: Penalty, bounded: Bounded) -> LogisticMixed:
    """Laplace fit of checked input; `bounded` says whether standard deviations have their prior always."""
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
    """Arrays of one length with finite values, or BadData that says which is not."""
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
) -> LogisticMixed:
    spread, correlation = spreads(model.terms, found)
    effects, effects_se = conditional_effects(model.terms, found)
    return LogisticMixed(
        names=model.names,
        estimate=found.beta,
        covariance=found.covariance,
        spread=spread,
        correlation=correlation,
        effects=effects,
        effects_se=effects_se,
        levels={one.name: int(np.unique(one.level).size) for one in model.terms},
        loglik=found.loglik,
        n_rows=model.answers.n_rows,
        n_answers=float((model.answers.won + model.answers.lost).sum()),
        link=model.answers.link,
        restricted=found.restricted,
        penalised=penalised,
        separated=separated,
        singular=found.singular,
        runaway=runaway,
        converged=True,
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


def conditional_effects(
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
