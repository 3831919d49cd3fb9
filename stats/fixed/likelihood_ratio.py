"""Does a larger model fit better than one it contains? Likelihood ratio, also where the units are few."""

import math
from dataclasses import dataclass

from scipy import special

from stats.errors import BadData


@dataclass(frozen=True)
class NestedTest:
    """A likelihood ratio and how unusual it is."""

    statistic: float
    """Twice the gain in log-likelihood, never below 0."""
    df: int
    """Effects that the larger model has more."""
    df_units: int | None
    """Units less the effects of the larger model; None where units abound."""
    p: float
    """By F with few units, by chi square where they abound."""


def many_units(smaller_loglik: float, larger_loglik: float, *, df: int) -> NestedTest:
    """The test of `df` effects that the larger of two maximum-likelihood fits has more, by chi square.

    Parameters
    ----------
    smaller_loglik : of the model without the effects
    larger_loglik : of the model with them

    Raises
    ------
    BadData
        No effect more.

    Source: Wilks 1938, Ann. Math. Statist. 9.
    """
    statistic = _statistic(smaller_loglik, larger_loglik, df)
    return NestedTest(statistic, df, None, float(special.chdtrc(df, statistic)))


def few_units(
    smaller_loglik: float, larger_loglik: float, *, df: int, n_units: int, n_effects: int
) -> NestedTest:
    """The same where the effects describe few units that are themselves a sample, by F.

    Parameters
    ----------
    smaller_loglik : of the model without the effects
    larger_loglik : of the model with them
    n_units : e.g. conditions, whose scatter about the model the effects are judged by
    n_effects : effects of the larger model that describe units, their mean with them

    Raises
    ------
    BadData
        No effect more, or no unit to spare.

    Notes
    -----
    In the normal linear model of n units the ratio is n log(1 + df F / (n - p)) exactly, so F is read back
    from it.

    Source: Rao 1973, Linear Statistical Inference, section 4b (likelihood ratio and F).
    """
    statistic = _statistic(smaller_loglik, larger_loglik, df)
    df_units = n_units - n_effects
    if df_units < 1:
        raise BadData(f"nested test: {n_units} units for {n_effects} effects; wanted at least one more")
    f = math.expm1(min(statistic / n_units, 700.0)) * df_units / df
    return NestedTest(statistic, df, df_units, float(special.fdtrc(df, df_units, f)))


def _statistic(smaller_loglik: float, larger_loglik: float, df: int) -> float:
    if df < 1:
        raise BadData(f"nested test: {df} effects more; wanted at least 1")
    return max(0.0, 2.0 * (larger_loglik - smaller_loglik))
