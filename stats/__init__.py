"""Statistics of paired comparisons, ratings and discrimination tests: arrays in, frozen results out.

The front door, for notebooks: `fit_pairs`, `fit_ratings` and `fit_counts` take a table or counts and give
a result with `.summary()`, `.to_frame()` and `.to_dict()`; `compare_levels` gives a factor's means and their
differences. The others take arrays, as the rooms behind do.
"""

import importlib
from typing import TYPE_CHECKING

from stats.errors import ListeningError

if TYPE_CHECKING:
    from stats.agreement import circular_triads, concordance, intraclass, pair_agreement, retest
    from stats.agreement import with_rest as agreement_with_rest
    from stats.discrimination.yes_no import a_not_a as fit_a_not_a
    from stats.discrimination.yes_no import same_different as fit_same_different
    from stats.mixed.mixed_profile import bound as profile_limit
    from stats.mixed.parametric_bootstrap import interval as bootstrap_interval
    from stats.mixed.parametric_bootstrap import zero_test as bootstrap_test
    from stats.mixed.spread_tests import correlations as test_correlations
    from stats.mixed.spread_tests import independent as test_spreads
    from stats.mixed.spread_tests import one_more_correlated as test_one_more_spread
    from stats.pairs.quasi_variance import fit as quasi_variances
    from stats.pairs.simulated_panel import draw as draw_panel
    from stats.tables.count_fit import fit_counts
    from stats.tables.level_means import compare_levels
    from stats.tables.pair_fit import fit_pairs
    from stats.tables.rating_fit import fit_ratings

_ROOMS = {
    "fit_counts": ("stats.tables.count_fit", "fit_counts"),
    "fit_pairs": ("stats.tables.pair_fit", "fit_pairs"),
    "fit_ratings": ("stats.tables.rating_fit", "fit_ratings"),
    "compare_levels": ("stats.tables.level_means", "compare_levels"),
    "fit_a_not_a": ("stats.discrimination.yes_no", "a_not_a"),
    "fit_same_different": ("stats.discrimination.yes_no", "same_different"),
    "circular_triads": ("stats.agreement", "circular_triads"),
    "pair_agreement": ("stats.agreement", "pair_agreement"),
    "concordance": ("stats.agreement", "concordance"),
    "intraclass": ("stats.agreement", "intraclass"),
    "retest": ("stats.agreement", "retest"),
    "agreement_with_rest": ("stats.agreement", "with_rest"),
    "profile_limit": ("stats.mixed.mixed_profile", "bound"),
    "bootstrap_interval": ("stats.mixed.parametric_bootstrap", "interval"),
    "bootstrap_test": ("stats.mixed.parametric_bootstrap", "zero_test"),
    "test_spreads": ("stats.mixed.spread_tests", "independent"),
    "test_one_more_spread": ("stats.mixed.spread_tests", "one_more_correlated"),
    "test_correlations": ("stats.mixed.spread_tests", "correlations"),
    "quasi_variances": ("stats.pairs.quasi_variance", "fit"),
    "draw_panel": ("stats.pairs.simulated_panel", "draw"),
}
__all__ = [
    "ListeningError",
    "agreement_with_rest",
    "bootstrap_interval",
    "bootstrap_test",
    "circular_triads",
    "compare_levels",
    "concordance",
    "draw_panel",
    "fit_a_not_a",
    "fit_counts",
    "fit_pairs",
    "fit_ratings",
    "fit_same_different",
    "intraclass",
    "pair_agreement",
    "profile_limit",
    "quasi_variances",
    "retest",
    "test_correlations",
    "test_one_more_spread",
    "test_spreads",
]


def __getattr__(name: str) -> object:
    """What the front door offers, its room opened on first use."""
    if name not in _ROOMS:
        raise AttributeError(f"module 'stats' has no attribute {name!r}")
    room, function = _ROOMS[name]
    return getattr(importlib.import_module(room), function)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
