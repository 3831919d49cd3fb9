"""Paired comparisons whose effects vary over listeners: the mixed models behind `--slopes`."""

from collections.abc import Iterator, Sequence

import numpy as np

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray
from stats.mixed import logistic_mixed, tied_mixed
from stats.mixed.engine import random_terms
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates
from stats.tables.pair_options import PairOptions
from stats.tables.pair_result import PairsFit, entries
from stats.tables.pair_rows import Rows, free_columns

FEW_LISTENERS = 8


def fit(options: PairOptions, rows: Rows, columns: FloatArray, source: str) -> PairsFit:
    """Laplace fit with listener slopes on `columns` (n, k), named by the options.

    Parameters
    ----------
    rows : the table, read
    source : the table's name, for messages

    Raises
    ------
    BadData
        No listener column, or one listener only.
    """
    if rows.listener is None or len(rows.listeners) < 2:
        raise BadData(f"{source}: slopes vary over listeners: wanted a listener column with 2 or more")
    x, names, reference = free_columns(options, rows)
    term = random_terms.term(
        "listener",
        rows.listener,
        columns,
        column_names=list(options.slopes),
        correlated=options.correlated,
    )
    fitted = _three_category if options.ties else _binary
    found = fitted(options, rows, x, names, term)
    return PairsFit(
        model=f"{options.model}, {'correlated ' if options.correlated else ''}slopes by listener (Laplace)",
        n=found.n_answers,
        reference=reference,
        estimates=entries(found.names, found.estimate, found.se),
        loglik=found.loglik,
        spread=found.spread,
        warnings=tuple(_warnings(rows, found, options.slopes, names)),
        correlation=_correlations(found, options.slopes),
    )


def _binary(
    options: PairOptions, rows: Rows, x: FloatArray, names: tuple[str, ...], term: RandomTerm
) -> MixedEstimates:
    return logistic_mixed.fit(
        rows.count * (rows.answer == 1),
        x,
        [term],
        trials=rows.count,
        names=names,
        link=options.link,
        penalty="always" if options.penalised else "if separated",
    )


def _three_category(
    options: PairOptions, rows: Rows, x: FloatArray, names: tuple[str, ...], term: RandomTerm
) -> MixedEstimates:
    return tied_mixed.fit(
        rows.answer,
        x,
        [term],
        ties=options.ties or "davidson",
        link=options.link,
        count=rows.count,
        names=names,
    )


def _correlations(found: MixedEstimates, slopes: tuple[str, ...]) -> dict[str, float]:
    matrix = found.correlation.get("listener")
    if matrix is None:
        return {}
    low, high = np.triu_indices(len(slopes), 1)
    return {f"listener:{slopes[a]},{slopes[b]}": float(matrix[a, b]) for a, b in zip(low, high, strict=True)}


def _warnings(
    rows: Rows, found: MixedEstimates, slopes: Sequence[str], names: tuple[str, ...]
) -> Iterator[str]:
    n = len(rows.listeners)
    if n < FEW_LISTENERS:
        yield f"{n} listeners: too few to say how effects vary over listeners"
    if found.singular:
        yield "a standard deviation over listeners is estimated as zero, or effects are tied to each other"
    if found.separated:
        yield (
            "the answers are predicted perfectly, so a plain estimate is infinite; penalised ones are shown"
        )
    if found.runaway:
        yield "some listeners never waver: a standard deviation has no finite estimate"
    for name in slopes:
        if rows.covariate_names and name not in names:
            yield f"{name} varies over listeners about a mean of zero: it is not among the effects"
