"""Latin squares balanced for first-order carry-over."""

import numpy as np
import numpy.typing as npt


def square(k: int) -> npt.NDArray[np.int64]:
    """Rows of orders of 0..k-1 in which every item follows every other equally often.

    Returns
    -------
    (k, k) array for even k, (2k, k) for odd k; each item stands once in each row and equally often in
    each column, and each ordered pair of neighbours occurs once (even k) or twice (odd k).

    Raises
    ------
    ValueError
        k is below 1.

    Source: Williams 1949, Australian Journal of Scientific Research A 2, 149-168.
    """
    if k < 1:
        raise ValueError(f"{k} items: an order needs at least 1")
    first = [0] + [(i + 1) // 2 if i % 2 else k - i // 2 for i in range(1, k)]
    rows = (np.arange(k)[:, None] + np.asarray(first)[None, :]) % k
    return rows if k % 2 == 0 or k == 1 else np.vstack([rows, rows[:, ::-1]])


def shuffled_square(k: int, rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """A Williams square with its items renamed and its rows in random order: as balanced, not as regular."""
    rows = rng.permutation(k)[square(k)]
    return rows[rng.permutation(len(rows))]
