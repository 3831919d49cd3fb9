"""Difference grades by ranks, beside the mixed model, for grades that crowd at an end of the scale.

Both tests describe; no planned question is decided by them. ITU-R BS.1534-3 asks for tests without a normal
distribution where grades do not look normal (statistical analysis; clause from memory).
"""

import pandas as pd

from listening.records.found.findings_graded import RankTest
from stats.deciding import multiplicity
from stats.errors import BadData
from stats.ordinal import rank_tests


def of_conditions(rows: pd.DataFrame) -> dict[str, float]:
    """Two-sided p of each condition's difference grades, a mean a listener, corrected over the conditions.

    Parameters
    ----------
    rows : grades without the hidden reference's own; listener, condition, difference
    """
    found = {}
    for name, own in _means(rows).items():
        try:
            found[str(name)] = rank_tests.signed_ranks(own.dropna().to_numpy(float)).p
        except BadData:  # no difference at all
            continue
    adjusted = multiplicity.adjust(list(found.values())).p_adjusted if found else ()
    return dict(zip(found, adjusted, strict=True))


def within_listeners(rows: pd.DataFrame) -> RankTest | None:
    """Whether the conditions differ, over the listeners who graded all; None where it cannot be told."""
    try:
        found = rank_tests.within_listeners(_means(rows).dropna().to_numpy(float))
    except BadData:
        return None
    return RankTest(chi_square=found.chi_square, df=found.df, p=found.p, n_listeners=found.n_listeners)


def _means(rows: pd.DataFrame) -> pd.DataFrame:
    """A row a listener, a column a condition."""
    return rows.groupby(["listener", "condition"])["difference"].mean().unstack()
