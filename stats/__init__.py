"""Statistics of paired comparisons, ratings and discrimination tests: arrays in, frozen results out.

The front door, for notebooks: `fit_pairs`, `fit_ratings` and `fit_counts` take a table or counts and give
a result with `.summary()`, `.to_frame()` and `.to_dict()`. The rooms behind it take arrays.
"""

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stats.tables.count_fit import fit_counts
    from stats.tables.pair_fit import fit_pairs
    from stats.tables.rating_fit import fit_ratings

__all__ = ["fit_counts", "fit_pairs", "fit_ratings"]
_ROOMS = {
    "fit_counts": "stats.tables.count_fit",
    "fit_pairs": "stats.tables.pair_fit",
    "fit_ratings": "stats.tables.rating_fit",
}


def __getattr__(name: str) -> object:
    """What the front door offers, its room opened on first use."""
    if name not in _ROOMS:
        raise AttributeError(f"module 'stats' has no attribute {name!r}")
    return getattr(importlib.import_module(_ROOMS[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
