"""Results as pandas data frames; pandas takes a third of a second to load, so only who asks for one waits."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd


def frame(columns: Mapping[str, object], rows: Sequence[str] | None = None) -> "pd.DataFrame":
    """A data frame of columns of one length, its rows named where names are given."""
    import pandas as pd

    return pd.DataFrame(dict(columns), index=None if rows is None else list(rows))
