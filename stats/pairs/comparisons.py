"""Paired comparisons as counts: who was set against whom, in which order, and how often each won."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from stats.errors import BadData, NotConnected, Separated
from stats.fixed.likelihood import FloatArray, IntArray, as_floats


@dataclass(frozen=True)
class Comparisons:
    """n ordered pairs of k items with counts of the three answers."""

    items: tuple[str, ...]
    """k names."""
    first: IntArray
    """(n,) item presented first, 0 .. k-1."""
    second: IntArray
    won: FloatArray
    """(n,) how often the first was chosen."""
    tied: FloatArray
    lost: FloatArray

    @property
    def n(self) -> float:
        """Number of answers."""
        return float(self.won.sum() + self.tied.sum() + self.lost.sum())

    @property
    def has_ties(self) -> bool:
        return bool(self.tied.sum() > 0)


def collect(
    first: Sequence[str],
    second: Sequence[str],
    won: FloatArray,
    lost: FloatArray,
    tied: FloatArray | None = None,
    *,
    items: Sequence[str] | None = None,
) -> Comparisons:
    """Comparisons from rows of names and counts (each (n,)), added up over rows with the same ordered pair.

    Items are in sorted order unless given. Raises BadData where an item meets itself, a count is impossible,
    a name is not among `items`, or there is nothing.

    Parameters
    ----------
    first, second : (n,) names
    won : (n,) counts that went to the first
    lost : (n,) counts that went to the second
    tied : (n,) counts without a winner
    """
    first_names, second_names = np.asarray(first, dtype=object), np.asarray(second, dtype=object)
    won, lost = as_floats(won), as_floats(lost)
    tied = np.zeros_like(won) if tied is None else as_floats(tied)
    _check_rows(first_names, second_names, (won, lost, tied))
    names = tuple(sorted(set(first_names) | set(second_names))) if items is None else tuple(items)
    number = {name: j for j, name in enumerate(names)}
    unknown = sorted((set(first_names) | set(second_names)) - set(names))
    if unknown:
        raise BadData(f"items {', '.join(map(str, unknown))} are not among the items given")
    a = np.array([number[name] for name in first_names], dtype=np.int64)
    b = np.array([number[name] for name in second_names], dtype=np.int64)
    return add_up(names, a, b, won, lost, tied)


def add_up(
    items: tuple[str, ...],
    first: IntArray,
    second: IntArray,
    won: FloatArray,
    lost: FloatArray,
    tied: FloatArray,
) -> Comparisons:
    """Comparisons from numbered rows, added up over rows with the same ordered pair.

    Parameters
    ----------
    items : all names
    first, second : (n,) numbers of items
    won : (n,) counts that went to the first
    lost : (n,) counts that went to the second
    tied : (n,) counts without a winner
    """
    k = len(items)
    cell = first * k + second
    counts = [as_floats(np.bincount(cell, weights=part, minlength=k * k)) for part in (won, tied, lost)]
    met = np.flatnonzero(np.bincount(cell, minlength=k * k))
    return Comparisons(items, met // k, met % k, counts[0][met], counts[1][met], counts[2][met])


def _check_rows(first: np.ndarray, second: np.ndarray, counts: tuple[FloatArray, ...]) -> None:
    if first.size == 0 or any(part.shape != first.shape for part in (second, *counts)):
        raise BadData(f"{first.size} first items, {second.size} second: wanted one length n >= 1 for all")
    if not all(np.isfinite(part).all() and part.min() >= 0 for part in counts):
        raise BadData("answer counts must be finite and not negative")
    same = np.flatnonzero(first == second)
    if same.size:
        raise BadData(f"row {same[0] + 1} compares {first[same[0]]} with itself")


def beaten(data: Comparisons) -> FloatArray:
    """(k, k) how often item i was preferred to item j, ties counted half to each."""
    k = len(data.items)
    out = np.zeros((k, k))
    np.add.at(out, (data.first, data.second), data.won + 0.5 * data.tied)
    np.add.at(out, (data.second, data.first), data.lost + 0.5 * data.tied)
    return out


def check_connected(data: Comparisons) -> None:
    """Raise NotConnected, naming the groups, unless every item can be compared with every other."""
    k = len(data.items)
    used = (data.won + data.tied + data.lost) > 0
    links = coo_array((np.ones(int(used.sum())), (data.first[used], data.second[used])), shape=(k, k))
    count, label = connected_components(links.tocsr(), directed=False)
    if count > 1:
        groups = "; ".join(name_some(data, label == g) for g in range(count))
        raise NotConnected(
            f"{count} groups of items were never compared with each other: {groups}. "
            "Add comparisons between the groups, or fit each group on its own"
        )


def check_strong(data: Comparisons) -> None:
    """Raise Separated, naming the items, unless every group of items lost (or tied) to the rest somewhere."""
    wins = beaten(data) > 0
    count, label = connected_components(
        coo_array(wins.astype(float)).tocsr(), directed=True, connection="strong"
    )
    if count == 1:
        return
    for g in range(count):
        group = label == g
        if not wins[np.ix_(~group, group)].any():
            raise Separated(
                f"{name_some(data, group)} never lost to the other items, so the difference is infinite: "
                "add trials, leave the items out, or use the penalised fit"
            )
    raise Separated("some items always won against the rest: use the penalised fit")


def name_some(data: Comparisons, which: np.ndarray, *, most: int = 8) -> str:
    """Names of the items at `which`, at most `most` of them.

    Parameters
    ----------
    data : counts of each ordered pair
    """
    names = [data.items[j] for j in np.flatnonzero(which)]
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more
