"""The model of a choice between two sounds, with or without answers of `no difference`."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from stats.errors import NotConverged, NotIdentified, Separated
from stats.mixed import logistic_mixed, tied_mixed
from stats.mixed.engine.random_terms import RandomTerm
from stats.mixed.mixed_estimates import MixedEstimates

FloatArray = NDArray[np.float64]

NO_DIFFERENCE = 0.5


def fit(
    chosen: FloatArray,
    fixed: FloatArray,
    terms: Sequence[RandomTerm],
    *,
    names: Sequence[str],
    offset: FloatArray | None = None,
) -> MixedEstimates:
    """Log-odds that the first is chosen, by restricted Laplace likelihood.

    Where some answers are `no difference` (0.5) the three-category model decides: its log-odds are of a
    choice that must be made, and a threshold on either side of zero holds the rest. Where that model has no
    finite estimate, such an answer counts half for each sound, which draws the estimate towards zero.

    Parameters
    ----------
    chosen : (n,) 1 the first, 0 the second, 0.5 no difference
    fixed : (n, p)
    offset : (n,) known part of the log-odds, zeros if not given

    Raises
    ------
    StatsError
        The answers cannot bear the model.

    Source: Rao & Kupper 1967, J. Am. Stat. Assoc. 62; with random terms as in `stats.tied_mixed`.
    """
    if (chosen == NO_DIFFERENCE).any():
        found = _three_category(chosen, fixed, terms, names, offset)
        if found is not None:
            return found
    return logistic_mixed.fit(
        chosen, fixed, terms, offset=offset, names=names, restricted=True, penalty="if separated"
    )


def _three_category(
    chosen: FloatArray,
    fixed: FloatArray,
    terms: Sequence[RandomTerm],
    names: Sequence[str],
    offset: FloatArray | None,
) -> MixedEstimates | None:
    """The three-category fit; None where an estimate is infinite or some listeners never waver."""
    answers = np.rint(2 * chosen - 1).astype(np.int64)
    try:
        found = tied_mixed.fit(answers, fixed, terms, offset=offset, names=names, restricted=True)
    except (Separated, NotConverged, NotIdentified):
        return None
    return None if found.runaway else tied_mixed.as_choices(found)
