"""Estimated marginal means of a linear mixed model: what each level scores, others averaged, and the
differences."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING, Literal

import numpy as np

from stats.deciding import multiplicity
from stats.deciding.multiplicity import MaxT
from stats.errors import BadData
from stats.fixed.coding import FixedPart
from stats.fixed.likelihood import FloatArray
from stats.linear import kenward_roger, satterthwaite
from stats.linear.contrast_tests import ContrastTests
from stats.linear.linear_mixed import LinearMixed

Method = Literal["satterthwaite", "kenward-roger"]

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class MarginalMeans:
    """Means of a factor's levels, other factors averaged with equal weight and numbers at their mean."""

    factor: str
    levels: tuple[str, ...]
    rows: FloatArray
    """(levels, p) what each mean is of the estimates."""
    tests: ContrastTests

    def to_frame(self) -> "pd.DataFrame":
        """One row a level."""
        return self.tests.table(self.levels)


@dataclass(frozen=True)
class Differences:
    """Differences between levels, with intervals that hold together."""

    names: tuple[str, ...]
    """`level - level`"""
    rows: FloatArray
    """(k, p)"""
    tests: ContrastTests
    """Each on its own."""
    joint: MaxT
    """All together, by the largest t and the smallest of their degrees of freedom."""

    def to_frame(self) -> "pd.DataFrame":
        """One row a difference; adjusted p and simultaneous interval beside each one's own."""
        table = self.tests.table(self.names)
        return table.assign(
            p_adjusted=self.joint.p_adjusted, joint_lower=self.joint.lower, joint_upper=self.joint.upper
        )


def means(
    model: LinearMixed,
    fixed: FixedPart,
    factor: str,
    *,
    method: Method = "satterthwaite",
    level: float = 0.95,
) -> MarginalMeans:
    """Mean of each level of `factor`, with its own degrees of freedom.

    Parameters
    ----------
    model : the fit
    fixed : its fixed part, as coded
    method : of the degrees of freedom

    Raises
    ------
    BadData
        No such factor in the fit.

    Source: Searle, Speed & Milliken 1980, Am. Stat. 34, 216-221.
    """
    if factor not in fixed.factors:
        raise BadData(f"{factor!r} is no factor of this fit; it has {', '.join(fixed.factors) or 'none'}")
    levels = fixed.factors[factor].levels
    rows = np.array([fixed.row({factor: level}) for level in levels])
    return MarginalMeans(factor, levels, rows, _tests(model, rows, method, level))


def differences(
    model: LinearMixed,
    fixed: FixedPart,
    factor: str,
    *,
    pairs: Sequence[tuple[str, str]] | None = None,
    method: Method = "satterthwaite",
    level: float = 0.95,
) -> Differences:
    """Differences between levels of `factor`: first minus second of each pair; all pairs if none are
    given.

    Parameters
    ----------
    model : the fit
    fixed : its fixed part, as coded
    method : of the degrees of freedom
    level : confidence of the interval, above 0, below 1

    Raises
    ------
    BadData
        A pair names a level that the factor does not have.
    """
    found = means(model, fixed, factor, method=method, level=level)
    wanted = list(pairs) if pairs is not None else list(combinations(found.levels, 2))
    place = {name: j for j, name in enumerate(found.levels)}
    unknown = sorted({one for pair in wanted for one in pair} - set(place))
    if unknown or not wanted:
        raise BadData(f"levels {', '.join(unknown) or '(none)'} are not among {', '.join(found.levels)}")
    rows = np.array([found.rows[place[first]] - found.rows[place[second]] for first, second in wanted])
    tests = _tests(model, rows, method, level)
    joint = multiplicity.max_t(tests.estimate, tests.covariance, df=float(tests.df.min()), level=level)
    return Differences(tuple(f"{first} - {second}" for first, second in wanted), rows, tests, joint)


def _tests(model: LinearMixed, rows: FloatArray, method: Method, level: float) -> ContrastTests:
    if method not in ("satterthwaite", "kenward-roger"):
        raise BadData(f"method {method!r} is not known; wanted satterthwaite or kenward-roger")
    chosen = satterthwaite.t_tests if method == "satterthwaite" else kenward_roger.t_tests
    return chosen(model, rows, level=level)
