"""Ratings, ordered categories or binary answers of a table, explained by factors and numbers."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stats.tables import columns, rating_options
from stats.tables.columns import Columns
from stats.tables.rating_options import DegreesOfFreedom, Scale
from stats.tables.rating_result import RatingsFit

if TYPE_CHECKING:
    import pandas as pd

    from stats.fixed.binary import Link


def fit_ratings(
    frame: "pd.DataFrame | Columns",
    answer: str = "rating",
    fixed: Sequence[str] | str = (),
    random: Sequence[str] | str = (),
    scale: Scale = "interval",
    *,
    link: "Link | None" = None,
    nodes: int = 1,
    reml: bool | None = None,
    df: DegreesOfFreedom | None = None,
) -> RatingsFit:
    """Effects of factors and numbers on ratings; as `listening fit ratings`.

    Parameters
    ----------
    frame : a row an answer
    answer : its column: numbers, ordered categories (in sorted order) or two different words, of which the
        second in sorted order is the success
    fixed : columns of fixed effects: text columns are factors, a trailing `:` makes a number column one; the
        first level in sorted order is the reference; `1` or nothing for the mean alone
    random : columns over whose levels the intercept varies, crossed
    scale : interval (linear mixed model), ordinal (cumulative link) or binary
    link : of ordinal and binary: logit (default), probit or cloglog
    nodes : points of the integral over the one random column (1: Laplace's approximation)
    reml : interval: restricted (default) or plain likelihood
    df : interval with random columns: degrees of freedom by satterthwaite (default) or kenward-roger, which
        corrects the standard errors too and is the safer one in a small, uneven table

    Raises
    ------
    ListeningError
        A column is missing or asked for twice, a cell cannot be read (its row is named), options contradict
        each other, or the answers cannot bear the model.

    Source: Pinheiro & Bates 2000, Mixed-Effects Models, chapter 2; Agresti, Categorical Data Analysis.
    """
    asked = rating_options.checked(
        answer, fixed, random, scale=scale, link=link, nodes=nodes, reml=reml, df=df
    )
    table = columns.of_frame(frame, asked.columns)
    from stats.tables import rating_scales  # slow to load, so only once the table is known to be readable

    return rating_scales.fit(table, asked)
