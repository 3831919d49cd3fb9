"""A table of answers from columns, for answers that come from no store: simulated or read elsewhere."""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd


def of_columns(columns: Mapping[str, Sequence[Any] | Any]) -> pd.DataFrame:
    """The table that `decide.decide_question` reads; a column given as one value holds it in every row."""
    return pd.DataFrame(dict(columns))
