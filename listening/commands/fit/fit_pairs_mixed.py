"""Paired comparisons whose effects vary over listeners: the mixed models behind `--slopes`."""

import argparse

import numpy as np

from listening.commands.fit.fit_pairs_models import FEW_LISTENERS, PairsFit, entries, model_name
from listening.commands.fit.fit_pairs_rows import Rows, free_columns
from listening.errors import RecordError
from stats.fixed.likelihood import FloatArray
from stats.mixed import logistic_mixed, tied_mixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.logistic_mixed import LogisticMixed
from stats.mixed.tied_mixed import TiedMixed


def fit(args: argparse.Namespace, rows: Rows, slopes: list[str], columns: FloatArray) -> PairsFit:
    """Laplace fit with listener slopes on `columns` (n, k), named `slopes`."""
    if rows.listener is None or len(rows.listeners) < 2:
        raise RecordError(
            f"{args.table}: slopes vary over listeners: wanted a listener column with 2 or more"
        )
    x, names, reference = free_columns(args, rows)
    term = random_terms.term(
        "listener", rows.listener, columns, column_names=slopes, correlated=args.correlated
    )
    found = _three_way(args, rows, x, names, term) if args.ties else _two_way(args, rows, x, names, term)
    out = PairsFit(
        model=f"{model_name(args)}, {'correlated ' if args.correlated else ''}slopes by listener (Laplace)",
        n=found.n_answers,
        reference=reference,
        estimates=entries(found.names, found.estimate, found.se),
        loglik=found.loglik,
        spread=found.spread,
        correlation=_correlations(found, slopes),
    )
    _warn(out, rows, found, slopes, names)
    return out


def _two_way(
    args: argparse.Namespace, rows: Rows, x: FloatArray, names: tuple[str, ...], term: RandomTerm
) -> LogisticMixed:
    return logistic_mixed.fit(
        rows.count * (rows.answer == 1),
        x,
        [term],
        trials=rows.count,
        names=names,
        link=args.link,
        penalty="always" if args.penalised else "if separated",
    )


def _three_way(
    args: argparse.Namespace, rows: Rows, x: FloatArray, names: tuple[str, ...], term: RandomTerm
) -> TiedMixed:
    if args.penalised:
        raise RecordError("--penalised is for answers without ties: leave it or --ties out")
    return tied_mixed.fit(
        rows.answer, x, [term], ties=args.ties, link=args.link, count=rows.count, names=names
    )


def _correlations(found: LogisticMixed | TiedMixed, slopes: list[str]) -> dict[str, float]:
    matrix = found.correlation.get("listener")
    if matrix is None:
        return {}
    low, high = np.triu_indices(len(slopes), 1)
    return {f"listener:{slopes[a]},{slopes[b]}": float(matrix[a, b]) for a, b in zip(low, high, strict=True)}


def _warn(
    out: PairsFit,
    rows: Rows,
    found: LogisticMixed | TiedMixed,
    slopes: list[str],
    names: tuple[str, ...],
) -> None:
    n = len(rows.listeners)
    if n < FEW_LISTENERS:
        out.warnings.append(f"{n} listeners: too few to say how effects vary over listeners")
    if found.singular:
        out.warnings.append(
            "singular fit: a standard deviation over listeners is zero, or effects are tied to each other"
        )
    if isinstance(found, LogisticMixed) and found.separated:
        out.warnings.append(
            "the answers are predicted perfectly, so a plain estimate is infinite; penalised ones are shown"
        )
    if found.runaway:
        out.warnings.append("some listeners never waver: a standard deviation has no finite estimate")
    for name in slopes:
        if rows.covariate_names and name not in names:
            out.warnings.append(
                f"{name} varies over listeners about a mean of zero: it is not among the effects"
            )
