"""The answers that decide: direct comparisons of the pair, or the pairs, of a planned question."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from listening.analysis.collect import keyed_answers
from listening.records.protocols.contrasts import Contrast
from stats.deciding import averaged_share, direct_share
from stats.deciding.direct_share import DirectShare

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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

    part: IntArray
    """(n,) number of the pair, from 0; those of a second difference are turned round."""
    shares_strikes: bool = False
    """Whether a condition occurs in more than one pair."""

    @property
    def n_strikes(self) -> int:
        """The smallest number of strikes that a condition of a pair was heard with."""
        sides = (self.strike_more, self.strike_than)
        return min(np.unique(side[self.part == n]).size for n in np.unique(self.part) for side in sides)

    @property
    def n_listeners(self) -> int:
        """Those who met the pair."""
        return int(np.unique(self.listener).size)

    def share(self, alpha: float) -> DirectShare:
        """Share of choices of `more`, listeners and strikes as samples; raises StatsError without answers.

        Of several pairs the mean over them, each listener's own first.
        """
        parts = [self._only(self.part == n)._share(alpha) for n in np.unique(self.part)]
        if len(parts) < 2:
            return self._share(alpha)
        return averaged_share.average(parts, alpha=alpha, shares_strikes=self.shares_strikes)

    def of_part(self, number: int) -> "DirectAnswers":
        """The answers to one of the pairs."""
        return self._only(self.part == number)

    def _only(self, rows: NDArray[np.bool_]) -> "DirectAnswers":
        return replace(
            self,
            chosen=self.chosen[rows],
            listener=self.listener[rows],
            strike_more=self.strike_more[rows],
            strike_than=self.strike_than[rows],
            more_first=None if self.more_first is None else self.more_first[rows],
            residual_db={name: values[rows] for name, values in self.residual_db.items()},
            part=self.part[rows],
        )

    def _share(self, alpha: float) -> DirectShare:
        return direct_share.estimate(
            self.chosen,
            self.listener,
            strike_more=self.strike_more,
            strike_than=self.strike_than,
            more_first=self.more_first,
            alpha=alpha,
        )


def of_contrast(rows: pd.DataFrame, contrast: Contrast) -> DirectAnswers:
    """The direct answers on a planned contrast: of listeners who met every pair of it.

    Parameters
    ----------
    rows : as for `of_pair`
    """
    pairs = [of_pair(rows, more, than) for more, than in contrast.pairs]
    if len(pairs) == 1:
        return pairs[0]
    met = [set(one.listener) for one in pairs]
    everybody = sorted(set.intersection(*met))
    kept = [one._only(np.isin(one.listener, everybody)) for one in pairs]
    names = [name for pair in contrast.pairs for name in pair]
    return DirectAnswers(
        chosen=np.concatenate([one.chosen for one in kept]),
        listener=np.concatenate([one.listener for one in kept]),
        strike_more=np.concatenate([one.strike_more for one in kept]),
        strike_than=np.concatenate([one.strike_than for one in kept]),
        more_first=np.concatenate([one.more_first for one in kept if one.more_first is not None]),
        residual_db={
            name: np.concatenate([one.residual_db[name] for one in kept])
            for name in kept[0].residual_db
            if all(name in one.residual_db for one in kept)
        },
        part=np.repeat(np.arange(len(kept)), [one.chosen.size for one in kept]),
        shares_strikes=len(set(names)) < len(names),
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
        part=np.zeros(len(kept), dtype=np.int64),
    )
