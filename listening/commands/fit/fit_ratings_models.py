"""The fits behind `listening fit ratings`: one for each scale, all handing over the same numbers."""

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from numpy.typing import NDArray

from listening.commands.fit import fit_table
from listening.commands.fit.fit_table import Table
from listening.errors import RecordError
from stats.errors import BadData
from stats.fixed import coding, firth, newton, separation
from stats.fixed.binary import Binary, Link
from stats.fixed.coding import FixedPart
from stats.linear import linear_mixed, satterthwaite
from stats.linear.contrast_tests import ContrastTests
from stats.mixed import logistic_mixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.ordinal import cumulative_link, cumulative_link_mixed

FEW_LEVELS = 5  # a spread over fewer levels than this is hardly known
PENALISED = "an effect would be infinite: a penalty on the fixed effects keeps it finite"
NO_TEST = "the log-likelihood of a penalised fit is not at its highest; do not test with it"
SINGULAR = "a spread is zero (singular fit): the answers show no difference between the levels"


@dataclass(frozen=True)
class RatingsFit:
    """What every kind of fit hands over to be printed."""

    model: str
    names: Sequence[str]
    estimate: NDArray[np.float64]
    se: NDArray[np.float64]
    spread: dict[str, float]
    loglik: float
    n: int
    tests: ContrastTests | None = None
    warnings: list[str] = field(default_factory=list)


def fit(args: argparse.Namespace) -> RatingsFit:
    """The model that the command line asks for, on the table it names."""
    fixed_names, random_names = _words(args.fixed), _words(args.random)
    _check_options(args, fixed_names, random_names)
    columns = [name.rstrip(":") for name in fixed_names if name != "1"]
    table = fit_table.read(args.table, [args.answer, *columns, *random_names])
    fixed = _fixed_part(table, fixed_names, intercept=args.scale != "ordinal")
    terms = [random_terms.term(name, coding.factor(table.columns[name]).codes) for name in random_names]
    fitters = {"interval": _interval, "ordinal": _ordinal, "binary": _binary}
    fitted = fitters[args.scale](table, args, fixed, terms)
    fitted.warnings.extend(
        f"{one.name} has {one.n_levels} levels: its spread is hardly known"
        for one in terms
        if one.n_levels < FEW_LEVELS
    )
    return fitted


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]


def _check_options(args: argparse.Namespace, fixed: Sequence[str], random: Sequence[str]) -> None:
    named = [args.answer, *(name.rstrip(":") for name in fixed), *random]
    doubled = sorted({name for name in named if named.count(name) > 1})
    if doubled:
        raise RecordError(f"column {', '.join(doubled)} is asked for twice; name each column once")
    if not fixed or ("1" in fixed and len(fixed) > 1):
        raise RecordError(f"--fixed {args.fixed!r}: wanted columns with commas between, or 1 alone")
    if args.scale == "interval" and (args.link or args.nodes != 1):
        raise RecordError("--link and --nodes belong to --scale ordinal and binary; leave them out")
    if args.scale != "interval" and args.ml:
        raise RecordError("--ml belongs to --scale interval; the other scales are fitted by ML anyway")
    if args.nodes > 1 and len(random) != 1:
        raise RecordError(f"--nodes {args.nodes} needs exactly one --random column, found {len(random)}")


def _fixed_part(table: Table, names: Sequence[str], *, intercept: bool) -> FixedPart:
    if list(names) == ["1"]:
        return coding.intercept_only(table.n_rows, intercept=intercept)
    plain = [name.rstrip(":") for name in names]
    factors = [name.rstrip(":") for name in names if name.endswith(":") or not table.is_number(name)]
    columns = {name: table.columns[name] if name in factors else table.numbers(name) for name in plain}
    return coding.fixed_part(columns, factors, intercept=intercept)


def _interval(
    table: Table, args: argparse.Namespace, fixed: FixedPart, terms: list[RandomTerm]
) -> RatingsFit:
    model = linear_mixed.fit(table.numbers(args.answer), fixed.x, terms, names=fixed.names, reml=not args.ml)
    warnings = [f"the spread of {name} is zero (singular fit)" for name in model.singular]
    tests = None
    try:
        tests = satterthwaite.t_tests(model)
    except BadData as error:
        warnings.append(f"no degrees of freedom: {error}")
    return RatingsFit(
        model=f"linear {'mixed ' if terms else ''}model by {'ML' if args.ml else 'REML'}",
        names=model.names,
        estimate=model.estimate,
        se=model.se,
        spread={**model.spread, "residual": model.residual},
        loglik=model.loglik,
        n=model.n,
        tests=tests,
        warnings=warnings,
    )


def _ordinal(table: Table, args: argparse.Namespace, fixed: FixedPart, terms: list[RandomTerm]) -> RatingsFit:
    answers = coding.factor(table.columns[args.answer])
    link = cast(Link, args.link or "logit")
    labels, levels = fixed.names, answers.levels
    spread: dict[str, float] = {}
    warnings: list[str] = []
    model: cumulative_link.Ordinal | cumulative_link_mixed.OrdinalMixed
    if terms:
        model = mixed = cumulative_link_mixed.fit(
            answers.codes, fixed.x, terms, names=labels, categories=levels, link=link, nodes=args.nodes
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
        warnings=warnings,
    )


def _binary(table: Table, args: argparse.Namespace, fixed: FixedPart, terms: list[RandomTerm]) -> RatingsFit:
    answers = coding.factor(table.columns[args.answer])
    if len(answers.levels) != 2:
        raise RecordError(
            f"{table.path}, column {args.answer}: found {len(answers.levels)} different answers, wanted 2 "
            "for --scale binary"
        )
    won = answers.codes.astype(np.float64)
    link = cast(Link, args.link or "logit")
    name = f"{link} {'mixed ' if terms else ''}model of {args.answer} = {answers.levels[1]}"
    if not terms:
        return _binary_fixed(won, fixed, link, name)
    model = logistic_mixed.fit(won, fixed.x, terms, names=fixed.names, link=link, nodes=args.nodes)
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
        warnings=warnings,
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
    return RatingsFit(name, fixed.names, found.beta, se, {}, found.loglik, won.size, warnings=warnings)
