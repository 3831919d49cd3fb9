"""A table of answers from columns, for answers that come from no store: simulated or read elsewhere."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

Table = pd.DataFrame


def of_columns(columns: Mapping[str, Sequence[Any] | Any]) -> pd.DataFrame:
    """The table that `decide.decide_question` reads; a column given as one value holds it in every row."""
    return pd.DataFrame(dict(columns))


def joined(parts: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Tables of answers one after another; empty ones add nothing."""
    return pd.concat([part for part in parts if len(part)], ignore_index=True)
