"""Which paired-comparison model the options ask for, fitted to the table."""

import argparse
import contextlib
import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from listening.commands.fit import fit_pairs_rows, fit_table
from listening.commands.fit.fit_pairs_rows import Rows
from stats.errors import Separated, StatsError
from stats.fixed import newton, sandwich
from stats.fixed.likelihood import FloatArray
from stats.pairs import bradley_terry, fit_check, tie_test
from stats.pairs.bradley_terry import Strengths
from stats.pairs.comparisons import Comparisons

FEW_LISTENERS = 8


@dataclass
class PairsFit:
    """What is printed."""

    model: str
    n: float
    reference: str | None
    estimates: dict[str, dict[str, float]]
    loglik: float
    spread: dict[str, float] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    correlation: dict[str, float] = field(default_factory=dict)
    tests: dict[str, dict[str, float]] = field(default_factory=dict)
    fit: dict[str, float | None] = field(default_factory=dict)


def fit(args: argparse.Namespace) -> PairsFit:
    """Read the table and fit what the options ask for."""
    covariates, slopes = _words(args.covariates), _words(args.slopes)
    extra = [name for name in dict.fromkeys([*covariates, *slopes]) if not (name == "order" and args.order)]
    needed = ["first", "second", "answer", *extra] + (["listener"] if slopes else [])
    table = fit_table.read(Path(args.table), needed, optional=("listener", "count"))
    rows = fit_pairs_rows.of(table, covariates)
    fit_pairs_rows.check_options(args, rows)
    if not slopes:
        return _plain(args, rows)
    from listening.commands.fit import fit_pairs_mixed

    values = [np.ones(rows.first.size) if name not in extra else table.numbers(name) for name in slopes]
    return fit_pairs_mixed.fit(args, rows, slopes, np.column_stack(values))


def _words(text: str | None) -> list[str]:
    return [word.strip() for word in (text or "").split(",") if word.strip()]


def _plain(args: argparse.Namespace, rows: Rows) -> PairsFit:
    data, x, _ = fit_pairs_rows.add_up(rows)
    found = _fit_plain(args, rows, data, x)
    out = PairsFit(
        model=model_name(args),
        n=found.n,
        reference=found.reference,
        estimates=entries(found.names, found.estimate, found.se),
        loglik=found.loglik,
    )
    _pooled(out, rows, found)
    if found.penalised:
        out.warnings.append("penalised fit: the log-likelihood is not at its highest; do not test with it")
        return out
    _tests(args, out, rows, data, found)
    return out


def _fit_plain(
    args: argparse.Namespace, rows: Rows, data: Comparisons, x: FloatArray, **change: Any
) -> Strengths:
    options: dict[str, Any] = {
        "link": args.link,
        "order": args.order,
        "ties": args.ties,
        "reference": args.reference,
        "penalised": args.penalised,
    }
    if rows.covariate_names:
        options |= {"covariates": x, "covariate_names": rows.covariate_names}
    try:
        return bradley_terry.fit(data, **(options | change))
    except Separated as error:
        raise Separated(f"{error} (--penalised)" if args.ties is None else str(error)) from None


def entries(names: tuple[str, ...], estimate: FloatArray, se: FloatArray) -> dict[str, dict[str, float]]:
    """Estimate and standard error by name."""
    return {
        name: {"estimate": float(value), "se": float(error)}
        for name, value, error in zip(names, estimate, se, strict=True)
    }


def model_name(args: argparse.Namespace) -> str:
    """What was fitted, in words."""
    kind = "Bradley-Terry" if args.link == "logit" else "Thurstone case V"
    ties = {None: "", "davidson": ", ties by Davidson", "rao-kupper": ", ties by Rao-Kupper"}[args.ties]
    order = ", order effect" if args.order else ""
    covariates = ", covariates" if args.covariates else ""
    penalised = ", penalised" if args.penalised else ""
    return f"{kind}{ties}{order}{covariates}{penalised}"


def _pooled(out: PairsFit, rows: Rows, found: Strengths) -> None:
    """Say so where a listener answered more than once, and add errors that allow for it."""
    if rows.listener is None or len(rows.listeners) == rows.count.sum():
        return
    out.warnings.append(
        f"{out.n:g} answers of {len(rows.listeners)} listeners are pooled as if each came from another "
        "listener: the standard errors are too small; use --slopes, or se_clustered with enough listeners"
    )
    if len(rows.listeners) < 2 or found.penalised:
        return
    for name, value in zip(found.names, np.sqrt(np.diag(_clustered(rows, found))), strict=True):
        out.estimates[name]["se_clustered"] = float(value)


def _clustered(rows: Rows, found: Strengths) -> FloatArray:
    """Listener-clustered covariance, from the rows before they were added up."""
    _, _, where = fit_pairs_rows.add_up(rows)
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


def _tests(args: argparse.Namespace, out: PairsFit, rows: Rows, data: Comparisons, found: Strengths) -> None:
    """Likelihood-ratio tests and the fit check, where the smaller or larger model can be fitted."""
    check = fit_check.check(found)
    out.fit = {
        "deviance": check.deviance,
        "pearson": check.pearson,
        "df": check.df,
        "p": _finite(check.p_deviance),
        "dispersion": _finite(check.dispersion),
    }
    what = "no effect of the covariates" if rows.covariate_names else "all items equal"
    out.tests[what] = _as_test(bradley_terry.equality(found))
    if args.order:
        x = fit_pairs_rows.add_up(rows)[1]
        out.tests["no order effect"] = _as_test(
            bradley_terry.compare(_fit_plain(args, rows, data, x, order=False), found)
        )
    if args.ties == "davidson" and not rows.covariate_names:
        with contextlib.suppress(StatsError):  # one pair only, or without ties a strength is infinite
            out.tests["ties as likely as the model says, pair by pair"] = _as_test(tie_test.by_pair(found))
    if rows.covariate_names and fit_pairs_rows.belong_to_items(rows):
        try:
            free = bradley_terry.fit(data, link=args.link, order=args.order, ties=args.ties)
            out.tests["covariates explain the items"] = _as_test(bradley_terry.compare(found, free))
        except StatsError:
            pass  # free strengths cannot be fitted, or have no more parameters: no such test


def _as_test(test: bradley_terry.RatioTest) -> dict[str, float]:
    return {"statistic": test.statistic, "df": test.df, "p": test.p}


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
