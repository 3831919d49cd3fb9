"""The columns of a paired comparison: +1 for the first item, -1 for the second, and one for the order."""

from dataclasses import dataclass

import numpy as np

from stats.fixed.likelihood import FloatArray, IntArray, as_floats


@dataclass(frozen=True)
class PairDesign:
    """Free strengths of k items, the reference at zero; optionally an advantage of the first interval.

    Coefficients stand in the order of the items without the reference, then the order effect. Sums go by
    counting, not through an (n, k) matrix.
    """

    first: IntArray
    second: IntArray
    n_items: int
    reference: int
    order: bool

    @property
    def n_columns(self) -> int:
        return self.n_items - 1 + int(self.order)

    def predictor(self, beta: FloatArray) -> FloatArray:
        """(n,) strength of the first minus that of the second, plus the order effect."""
        strength = np.zeros(self.n_items)
        strength[self._kept(self.n_items)] = beta[: self.n_items - 1]
        return strength[self.first] - strength[self.second] + (beta[-1] if self.order else 0.0)

    def transposed(self, rows: FloatArray) -> FloatArray:
        """(p,) or (p, c) sums of rows (n,) or (n, c) over the columns."""
        if rows.ndim == 2:
            return np.column_stack([self.transposed(column) for column in rows.T])
        k = self.n_items
        sums = as_floats(np.bincount(self.first, rows, k) - np.bincount(self.second, rows, k))
        sums = sums.take(self._kept(k))
        return np.append(sums, rows.sum()) if self.order else sums

    def gram(self, weight: FloatArray) -> FloatArray:
        """(p, p) X' diag(weight) X."""
        k = self.n_items
        pair = as_floats(np.bincount(self.first * k + self.second, weight, k * k)).reshape(k, k)
        pair = pair + pair.T
        whole = np.diag(pair.sum(axis=0)) - pair
        if self.order:
            side = np.bincount(self.first, weight, k) - np.bincount(self.second, weight, k)
            whole = np.block([[whole, side[:, None]], [side[None, :], np.array([[weight.sum()]])]])
        kept = self._kept(whole.shape[0])
        return whole.take(kept, 0).take(kept, 1)

    def _kept(self, size: int) -> IntArray:
        """Numbers below `size` without the reference."""
        numbers = np.arange(size - 1)
        return numbers + (numbers >= self.reference)

    def dense(self) -> FloatArray:
        """(n, p) the columns themselves."""
        rows = np.arange(self.first.size)
        out = np.zeros((rows.size, self.n_items))
        out[rows, self.first] += 1.0
        out[rows, self.second] -= 1.0
        out = np.delete(out, self.reference, axis=1)
        return np.column_stack([out, np.ones(rows.size)]) if self.order else out


@dataclass(frozen=True)
class Columns:
    """Any columns (n, p), as the same calls."""

    x: FloatArray

    @property
    def n_columns(self) -> int:
        return int(self.x.shape[1])

    def predictor(self, beta: FloatArray) -> FloatArray:
        return self.x @ beta

    def transposed(self, rows: FloatArray) -> FloatArray:
        return self.x.T @ rows

    def gram(self, weight: FloatArray) -> FloatArray:
        return self.x.T @ (weight[:, None] * self.x)

    def dense(self) -> FloatArray:
        return self.x


Design = PairDesign | Columns
