"""Means of the levels of a factor in a table of ratings, and the differences between them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from stats.errors import BadData
from stats.tables import columns, rating_options
from stats.tables.columns import Columns
from stats.tables.pair_options import listed
from stats.tables.rating_options import DegreesOfFreedom

if TYPE_CHECKING:
    import pandas as pd

    from stats.linear.marginal_means import Differences, MarginalMeans


@dataclass(frozen=True)
class ComparedLevels:
    """Every level's mean and every difference of two, with limits; differences also hold all together."""

    means: "MarginalMeans"
    differences: "Differences"

    def to_frame(self) -> "pd.DataFrame":
        """A row a difference; `means.to_frame()` has the levels."""
        return self.differences.to_frame()


def compare_levels(
    frame: "pd.DataFrame | Columns",
    factor: str,
    answer: str = "rating",
    *,
    fixed: Sequence[str] | str = (),
    random: Sequence[str] | str = (),
    df: DegreesOfFreedom = "satterthwaite",
    level: float = 0.95,
) -> ComparedLevels:
    """Means of a factor's levels on an interval scale, other factors averaged, numbers at their mean.

    Parameters
    ----------
    df : method of the degrees of freedom
    frame : a row an answer
    factor : column of labels (a trailing `:` makes a number column one)
    answer : column of numbers
    fixed : further columns of fixed effects
    random : columns over whose levels the intercept varies; at least one
    level : 0 to 1, of the limits

    Raises
    ------
    ListeningError
        As `fit_ratings`, or no random column.

    Source: Searle, Speed & Milliken 1980, Am. Stat. 34(4), for the means; `stats.deciding.multiplicity` for
    limits that hold together.
    """
    named = (factor, *listed(fixed))
    asked = rating_options.checked(answer, named, random, df=df)
    if asked.interactions:
        raise BadData("with an interaction a factor has no one mean; leave it out, or fit each part")
    table = columns.of_frame(frame, asked.columns)
    from stats.fixed import coding  # slow to load, so only once the table is known to be readable
    from stats.linear import linear_mixed, marginal_means
    from stats.mixed.engine import random_terms
    from stats.tables import rating_scales

    part = rating_scales.fixed_part(table, asked, intercept=True)
    terms = [random_terms.term(name, coding.factor(table.cells[name]).codes) for name in asked.random]
    model = linear_mixed.fit(table.numbers(answer), part.x, terms, names=part.names)
    name = factor.rstrip(":")
    return ComparedLevels(
        means=marginal_means.means(model, part, name, method=df, level=level),
        differences=marginal_means.differences(model, part, name, method=df, level=level),
    )
