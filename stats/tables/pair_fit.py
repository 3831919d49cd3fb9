"""Strengths of items, or slopes of what differs, from a table of paired comparisons."""

import contextlib
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from stats.errors import Separated, StatsError
from stats.fixed import newton, sandwich
from stats.fixed.likelihood import FloatArray
from stats.pairs import bradley_terry, fit_check, tie_test
from stats.pairs.bradley_terry import PairLink, Strengths, Ties
from stats.pairs.comparisons import Comparisons
from stats.tables import columns, pair_options, pair_rows
from stats.tables.columns import Columns
from stats.tables.pair_options import OPTIONAL, PairOptions
from stats.tables.pair_result import PairsFit, entries
from stats.tables.pair_rows import Rows

if TYPE_CHECKING:
    import pandas as pd


def fit_pairs(
    frame: "pd.DataFrame | Columns",
    ties: Ties | None = None,
    order: bool = True,
    covariates: Sequence[str] | str | None = None,
    slopes: Sequence[str] | str | None = None,
    *,
    link: PairLink = "logit",
    reference: str | None = None,
    correlated: bool = False,
    penalised: bool = False,
) -> PairsFit:
    """Strengths of items, or slopes of covariates, from paired comparisons; as `listening fit pairs`.

    Parameters
    ----------
    frame : a row an answer, columns `first`, `second` (names of items), `answer` (first, second or tie);
        optional `count` (0 or more, how often the row was answered so), `listener`, and number columns
        (first minus second) named by `covariates` or `slopes`
    ties : model of the answer `tie`: davidson, rao-kupper, or None where nobody answered so
    order : whether the advantage of the first interval is estimated
    covariates : columns that replace the free strengths of the items
    slopes : columns (or `order`) whose effect varies over listeners: a mixed model, Laplace's approximation
    link : logit (Bradley-Terry) or probit (Thurstone case V); estimates are in its units
    reference : item at zero; the first in sorted order if not given
    correlated : whether the slopes may be correlated over listeners
    penalised : finite estimates even where an item never lost (no ties)

    Raises
    ------
    ListeningError
        A column is missing, a cell cannot be read (its row is named), options contradict each other, or the
        answers cannot bear the model: not connected, separated, not identified, not converged.

    Source: Bradley & Terry 1952, Biometrika 39(3/4); Davidson 1970 and Rao & Kupper 1967, J. Am. Stat. Assoc.
    """
    options = PairOptions(
        ties=ties,
        order=order,
        link=link,
        reference=reference,
        covariates=pair_options.listed(covariates),
        slopes=pair_options.listed(slopes),
        correlated=correlated,
        penalised=penalised,
    )
    pair_options.checked(options)
    return fit(columns.of_frame(frame, options.columns, optional=OPTIONAL), options)


def fit(table: Columns, options: PairOptions) -> PairsFit:
    """What checked options ask for, fitted to their columns of a table."""
    rows = pair_rows.read(table, options.covariates)
    pair_rows.check_options(options, rows, table.source)
    if not options.slopes:
        return _plain(options, rows)
    from stats.tables import pair_slopes

    ones = np.ones(rows.first.size)
    values = [ones if name not in options.extra else table.numbers(name) for name in options.slopes]
    return pair_slopes.fit(options, rows, np.column_stack(values), table.source)


def _plain(options: PairOptions, rows: Rows) -> PairsFit:
    data, x, _ = pair_rows.add_up(rows)
    found = _fit_plain(options, rows, data, x)
    estimates = entries(found.names, found.estimate, found.se)
    warnings = _pooled(rows, found)
    if warnings and len(rows.listeners) > 1 and not found.penalised:
        for name, value in zip(found.names, np.sqrt(np.diag(_clustered(rows, found))), strict=True):
            estimates[name]["se_clustered"] = float(value)
    out = PairsFit(
        model=options.model,
        n=found.n,
        reference=found.reference,
        estimates=estimates,
        loglik=found.loglik,
        warnings=warnings,
    )
    if found.penalised:
        untested = "penalised fit: the log-likelihood is not at its highest; do not test with it"
        return replace(out, warnings=(*warnings, untested))
    return replace(out, tests=_tests(options, rows, data, found), fit=_check(found))


def _fit_plain(
    options: PairOptions, rows: Rows, data: Comparisons, x: FloatArray, **change: Any
) -> Strengths:
    asked: dict[str, Any] = {
        "link": options.link,
        "order": options.order,
        "ties": options.ties,
        "reference": options.reference,
        "penalised": options.penalised,
    }
    if rows.covariate_names:
        asked |= {"covariates": x, "covariate_names": rows.covariate_names}
    try:
        return bradley_terry.fit(data, **(asked | change))
    except Separated as error:
        raise Separated(f"{error} (--penalised)" if options.ties is None else str(error)) from None


def _pooled(rows: Rows, found: Strengths) -> tuple[str, ...]:
    """Says so where a listener answered more than once."""
    if rows.listener is None or len(rows.listeners) == rows.count.sum():
        return ()
    return (
        f"{found.n:g} answers of {len(rows.listeners)} listeners are pooled as if each came from another "
        "listener: the standard errors are too small; use --slopes, or se_clustered with enough listeners",
    )


def _clustered(rows: Rows, found: Strengths) -> FloatArray:
    """Listener-clustered covariance, from the rows before they were added up."""
    _, _, where = pair_rows.add_up(rows)
    single = Comparisons(
        rows.items,
        rows.first,
        rows.second,
        *(rows.count * (rows.answer == code) for code in (1, 0, -1)),
    )
    likelihood, of_row = bradley_terry.likelihood(single, found.link, found.ties)
    pick = np.arange(where.size) if of_row is None else of_row
    k = found.design.n_columns
    listener = np.zeros(where.size, dtype=np.int64) if rows.listener is None else rows.listener
    return sandwich.covariance(
        likelihood,
        found.design.dense()[where[pick]],
        found.estimate[:k],
        found.estimate[k:],
        newton.inverse(found.covariance),
        listener[pick],
    )


def _check(found: Strengths) -> dict[str, float | None]:
    """How well the model fits, against a free share for each pair."""
    check = fit_check.check(found)
    return {
        "deviance": check.deviance,
        "pearson": check.pearson,
        "df": check.df,
        "p": _finite(check.p_deviance),
        "dispersion": _finite(check.dispersion),
    }


def _tests(
    options: PairOptions, rows: Rows, data: Comparisons, found: Strengths
) -> dict[str, dict[str, float]]:
    """Likelihood-ratio tests, where the smaller or larger model can be fitted."""
    tests: dict[str, dict[str, float]] = {}
    what = "no effect of the covariates" if rows.covariate_names else "all items equal"
    tests[what] = _as_test(bradley_terry.equality(found))
    if options.order:
        x = pair_rows.add_up(rows)[1]
        tests["no order effect"] = _as_test(
            bradley_terry.compare(_fit_plain(options, rows, data, x, order=False), found)
        )
    if options.ties == "davidson" and not rows.covariate_names:
        with contextlib.suppress(StatsError):  # one pair only, or without ties a strength is infinite
            tests["ties as likely as the model says, pair by pair"] = _as_test(tie_test.by_pair(found))
    if rows.covariate_names and pair_rows.belong_to_items(rows):
        try:
            free = bradley_terry.fit(data, link=options.link, order=options.order, ties=options.ties)
            tests["covariates explain the items"] = _as_test(bradley_terry.compare(found, free))
        except StatsError:
            pass  # free strengths cannot be fitted, or have no more parameters: no such test
    return tests


def _as_test(test: bradley_terry.RatioTest) -> dict[str, float]:
    return {"statistic": test.statistic, "df": test.df, "p": test.p}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
