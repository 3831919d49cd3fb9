"""The fit behind each scale of ratings, all handing over the same numbers."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from stats.errors import BadData
from stats.fixed import coding, firth, newton, separation
from stats.fixed.binary import Binary, Link
from stats.fixed.coding import FixedPart
from stats.linear import kenward_roger, linear_mixed, satterthwaite
from stats.mixed import logistic_mixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.ordinal import cumulative_link, cumulative_link_mixed
from stats.tables.columns import Columns
from stats.tables.rating_options import RatingOptions
from stats.tables.rating_result import RatingsFit

FEW_LEVELS = 5  # a spread over fewer levels than this is hardly known
PENALISED = "an effect would be infinite: a penalty on the fixed effects keeps it finite"
NO_TEST = "the log-likelihood of a penalised fit is not at its highest; do not test with it"
SINGULAR = "a standard deviation is estimated as zero: the answers show no difference between the levels"


def fit(table: Columns, asked: RatingOptions) -> RatingsFit:
    """The model that the options ask for, on their columns of the table."""
    fixed = fixed_part(table, asked, intercept=asked.scale != "ordinal")
    terms = [random_terms.term(name, coding.factor(table.cells[name]).codes) for name in asked.random]
    fitters = {"interval": _interval, "ordinal": _ordinal, "binary": _binary}
    fitted = fitters[asked.scale](table, asked, fixed, terms)
    few = (
        f"{one.name} has {one.n_levels} levels: its spread is hardly known"
        for one in terms
        if one.n_levels < FEW_LEVELS
    )
    return replace(fitted, warnings=(*fitted.warnings, *few))


def fixed_part(table: Columns, asked: RatingOptions, *, intercept: bool) -> FixedPart:
    """Columns of the fixed effects that the options ask for.

    Parameters
    ----------
    table : the ratings
    asked : the options
    intercept : whether a constant is among the columns
    """
    names = asked.mains
    if list(names) == ["1"]:
        return coding.intercept_only(table.n_rows, intercept=intercept)
    plain = [name.rstrip(":") for name in names]
    factors = [name.rstrip(":") for name in names if name.endswith(":") or not table.is_number(name)]
    columns = {name: table.cells[name] if name in factors else table.numbers(name) for name in plain}
    return coding.fixed_part(columns, factors, intercept=intercept, interactions=asked.interactions)


def _interval(table: Columns, asked: RatingOptions, fixed: FixedPart, terms: list[RandomTerm]) -> RatingsFit:
    model = linear_mixed.fit(
        table.numbers(asked.answer), fixed.x, terms, names=fixed.names, reml=asked.reml is not False
    )
    warnings = [f"the standard deviation of {name} is estimated as zero" for name in model.singular]
    tests = None
    try:
        tests = (kenward_roger if asked.df == "kenward-roger" else satterthwaite).t_tests(model)
    except BadData as error:
        warnings.append(f"no degrees of freedom: {error}")
    kind, how = "mixed model" if terms else "model", "" if asked.reml is False else "restricted "
    return RatingsFit(
        model=f"linear {kind}, {how}maximum likelihood",
        names=model.names,
        estimate=model.estimate,
        se=model.se if tests is None else tests.se,
        spread={**model.spread, "residual": model.residual},
        loglik=model.loglik,
        n=model.n,
        tests=tests,
        warnings=tuple(warnings),
    )


def _ordinal(table: Columns, asked: RatingOptions, fixed: FixedPart, terms: list[RandomTerm]) -> RatingsFit:
    answers = coding.factor(table.cells[asked.answer])
    link = asked.link or "logit"
    labels, levels = fixed.names, answers.levels
    spread: dict[str, float] = {}
    warnings: list[str] = []
    model: cumulative_link.Ordinal | cumulative_link_mixed.OrdinalMixed
    if terms:
        model = mixed = cumulative_link_mixed.fit(
            answers.codes, fixed.x, terms, names=labels, categories=levels, link=link, nodes=asked.nodes
        )
        spread, warnings = mixed.spread, [SINGULAR] if mixed.singular else []
    else:
        model = cumulative_link.fit(answers.codes, fixed.x, names=labels, categories=levels, link=link)
    return RatingsFit(
        model=f"cumulative {link} {'mixed ' if terms else ''}model",
        names=[*model.names, *model.threshold_names],
        estimate=np.concatenate([model.estimate, model.thresholds]),
        se=np.concatenate([model.se, model.threshold_se]),
        spread=spread,
        loglik=model.loglik,
        n=table.n_rows,
        warnings=tuple(warnings),
    )


def _binary(table: Columns, asked: RatingOptions, fixed: FixedPart, terms: list[RandomTerm]) -> RatingsFit:
    answers = coding.factor(table.cells[asked.answer])
    if len(answers.levels) != 2:
        raise BadData(
            f"{table.source}, column {asked.answer}: found {len(answers.levels)} different answers, wanted 2 "
            "for --scale binary"
        )
    won = answers.codes.astype(np.float64)
    link = asked.link or "logit"
    name = f"{link} {'mixed ' if terms else ''}model of {asked.answer} = {answers.levels[1]}"
    if not terms:
        return _binary_fixed(won, fixed, link, name)
    model = logistic_mixed.fit(won, fixed.x, terms, names=fixed.names, link=link, nodes=asked.nodes)
    warnings = [SINGULAR] if model.singular else []
    if model.penalised:
        warnings.append(PENALISED)
    return RatingsFit(
        model=name,
        names=model.names,
        estimate=model.estimate,
        se=model.se,
        spread=model.spread,
        loglik=model.loglik,
        n=table.n_rows,
        warnings=tuple(warnings),
    )


def _binary_fixed(won: NDArray[np.float64], fixed: FixedPart, link: Link, name: str) -> RatingsFit:
    answers = Binary.of(won, 1.0 - won, link)
    towards = separation.direction(fixed.x, won, 1.0 - won)
    if towards is None:
        found, warnings = newton.maximise(answers, fixed.x), []
    else:
        bad = [label for label, step in zip(fixed.names, towards, strict=True) if abs(step) > 1e-9]
        found = firth.maximise(answers, fixed.x)
        warnings = [f"the answers are predicted perfectly by {', '.join(bad)}: {PENALISED}", NO_TEST]
    se = np.sqrt(np.diag(found.covariance()))
    return RatingsFit(name, fixed.names, found.beta, se, {}, found.loglik, won.size, warnings=tuple(warnings))
