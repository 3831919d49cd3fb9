"""The answers that decide: direct comparisons of the two conditions of a planned question."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.collect import keyed_answers
from stats.deciding import direct_share
from stats.deciding.direct_share import DirectShare

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class DirectAnswers:
    """One row a trial in which the two were compared, turned so that `more` stands on one side."""

    chosen: FloatArray
    """(n,) 1 where `more` was chosen, 0 where `than` was, 0.5 for no difference."""
    listener: NDArray[Any]
    strike_more: NDArray[Any]
    strike_than: NDArray[Any]
    more_first: FloatArray | None
    """(n,) 1 where `more` was heard first, else 0; None where nobody knows."""
    residual_db: dict[str, FloatArray]
    """By level metric: (n,) level of `more` above `than` as played."""

    @property
    def n_listeners(self) -> int:
        """Those who met the pair."""
        return int(np.unique(self.listener).size)

    def share(self, alpha: float) -> DirectShare:
        """Share of choices of `more`, listeners and strikes as samples; raises StatsError without answers."""
        return direct_share.estimate(
            self.chosen,
            self.listener,
            strike_more=self.strike_more,
            strike_than=self.strike_than,
            more_first=self.more_first,
            alpha=alpha,
        )


def of_pair(rows: pd.DataFrame, more: str, than: str) -> DirectAnswers:
    """The direct answers on a pair.

    Parameters
    ----------
    rows : study answers of one attribute and presentation, as `keyed_answers.select` gives them
    """
    forward = (rows["condition_first"] == more) & (rows["condition_second"] == than)
    backward = (rows["condition_first"] == than) & (rows["condition_second"] == more)
    kept = rows[forward | backward]
    first = forward[forward | backward].to_numpy()
    sign = np.where(first, 1.0, -1.0)
    chosen = kept["chosen"].to_numpy(float)
    stimuli = [kept[f"stimulus_{place}"].to_numpy() for place in ("first", "second")]
    return DirectAnswers(
        chosen=np.where(first, chosen, 1.0 - chosen),
        listener=kept["listener"].to_numpy().astype(str),
        strike_more=np.where(first, *stimuli).astype(str),
        strike_than=np.where(first, *stimuli[::-1]).astype(str),
        more_first=first.astype(float),
        residual_db={
            name: sign * kept[f"{name}_difference"].to_numpy(float)
            for name in keyed_answers.level_metrics(kept)
        },
    )
