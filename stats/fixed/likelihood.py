"""What a model needs to know of its answers: log-density of each row and its derivatives."""

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]
SHORT_ROWS = 2000  # up to here numpy is as fast as a compiled loop, and numba need not be loaded


@dataclass(frozen=True)
class Rows:
    """Log-density of all rows together and each row's derivatives with respect to its predictor."""

    total: float
    d1: FloatArray
    d2: FloatArray
    d3: FloatArray | None
    """Third derivative; may be None where it was not asked for."""


@dataclass(frozen=True)
class ShapeRows:
    """Derivatives of each row's log-density that involve the k shape parameters."""

    by_shape: FloatArray
    """(n, k) first derivative."""
    d1_by_shape: FloatArray
    """(n, k) of d1: mixed second derivative."""
    d2_by_shape: FloatArray
    """(n, k) of d2: mixed third derivative."""
    second: FloatArray
    """(n, k, k) second derivative."""


class Likelihood(Protocol):
    """Answers of n rows whose log-density depends on one linear predictor each and on shape parameters.

    Shape parameters are what all rows share besides the predictor: thresholds of ratings, readiness to
    answer "no difference". A binary answer has none.
    """

    @property
    def n_rows(self) -> int: ...

    @property
    def shape_names(self) -> tuple[str, ...]: ...

    def start_shape(self) -> FloatArray:
        """Shape parameters to start an iteration from; shape (k,)."""
        ...

    def rows(self, eta: FloatArray, shape: FloatArray, *, third: bool) -> Rows:
        """Summed log-density and each row's derivatives at predictors `eta`, shape (n,).

        Parameters
        ----------
        third : whether third derivatives are wanted too
        """
        ...

    def values(self, eta: FloatArray, shape: FloatArray) -> FloatArray:
        """Log-density of each row at predictors `eta`, shape (n,)."""
        ...

    def shape_rows(self, eta: FloatArray, shape: FloatArray) -> ShapeRows:
        """Derivatives that involve the shape parameters."""
        ...


def no_shape(n_rows: int) -> ShapeRows:
    """The derivatives of a likelihood without shape parameters: arrays of width zero."""
    empty = np.zeros((n_rows, 0))
    return ShapeRows(empty, empty, empty, np.zeros((n_rows, 0, 0)))


def as_floats(values: Any) -> FloatArray:
    """A C-ordered float64 copy or view of `values`."""
    return np.ascontiguousarray(values, dtype=np.float64)
