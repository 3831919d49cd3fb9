"""First, second or "no difference", with ties by Davidson's rule: adjacent categories on the logit scale."""

from dataclasses import dataclass

import numpy as np

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, Rows, ShapeRows, as_floats


@dataclass(frozen=True)
class Davidson:
    """Counts of the three answers in each row; P(first) : P(tie) : P(second) = e^(eta/2) : nu : e^(-eta/2).

    The one shape parameter is log nu. Source: Davidson 1970, JASA 65; an order effect inside eta is the
    symmetric form of Davidson & Beaver 1977, Biometrics 33.
    """

    won: FloatArray
    tied: FloatArray
    lost: FloatArray

    @classmethod
    def of(cls, won: FloatArray, tied: FloatArray, lost: FloatArray) -> "Davidson":
        """Checked counts, all shape (n,); raises BadData.

        Parameters
        ----------
        won : (n,) counts that went to the first
        tied : (n,) counts without a winner
        lost : (n,) counts that went to the second
        """
        parts = tuple(as_floats(part) for part in (won, tied, lost))
        if len({part.shape for part in parts}) != 1 or parts[0].ndim != 1 or parts[0].size == 0:
            raise BadData("won, tied and lost need one length n >= 1")
        if not all(np.isfinite(part).all() and part.min() >= 0 for part in parts):
            raise BadData("answer counts must be finite and not negative")
        return cls(*parts)

    @property
    def n_rows(self) -> int:
        return int(self.won.size)

    @property
    def shape_names(self) -> tuple[str, ...]:
        return ("log_nu",)

    def start_shape(self) -> FloatArray:
        decided = self.won.sum() + self.lost.sum()
        return np.array([np.log(2.0 * (self.tied.sum() + 0.5) / (decided + 1.0))])

    def shares(self, eta: FloatArray, shape: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Probabilities of first, tie and second at predictors `eta`."""
        half = 0.5 * np.abs(eta)
        logs = (0.5 * eta - half, shape[0] - half, -0.5 * eta - half)
        top = np.maximum(0.0, logs[1])
        weights = [np.exp(one - top) for one in logs]
        total = weights[0] + weights[1] + weights[2]
        return weights[0] / total, weights[1] / total, weights[2] / total

    def values(self, eta: FloatArray, shape: FloatArray) -> FloatArray:
        total = np.logaddexp(np.logaddexp(0.5 * eta, -0.5 * eta), shape[0])
        own = 0.5 * (self.won - self.lost) * eta + self.tied * shape[0]
        return np.asarray(own - (self.won + self.tied + self.lost) * total)

    def rows(self, eta: FloatArray, shape: FloatArray, *, third: bool) -> Rows:
        """Summed log-likelihood and each row's derivatives.

        Parameters
        ----------
        eta : (n,) predictors
        shape : the likelihood's own parameters
        third : whether third derivatives are wanted too
        """
        first, _, second = self.shares(eta, shape)
        n = self.won + self.tied + self.lost
        lead, decided = first - second, first + second
        d1 = 0.5 * (self.won - self.lost - n * lead)
        d2 = -0.25 * n * (decided - lead**2)
        d3 = -n * (lead / 8.0 - 3.0 * lead * decided / 8.0 + lead**3 / 4.0)
        return Rows(float(self.values(eta, shape).sum()), d1, d2, d3)

    def shape_rows(self, eta: FloatArray, shape: FloatArray) -> ShapeRows:
        first, tie, second = self.shares(eta, shape)
        n = self.won + self.tied + self.lost
        lead, decided = first - second, first + second
        return ShapeRows(
            (self.tied - n * tie)[:, None],
            (0.5 * n * lead * tie)[:, None],
            (0.25 * n * tie * (decided - 2.0 * lead**2))[:, None],
            (-n * tie * (1.0 - tie))[:, None, None],
        )
