"""Columns of a fixed part from a table: numbers as they are, factors by treatment against their first
level."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from stats.errors import BadData
from stats.fixed.likelihood import FloatArray, IntArray, as_floats


@dataclass(frozen=True)
class Factor:
    """A column of labels."""

    levels: tuple[str, ...]
    """In sorted order (by number where all are numbers); the first is the reference."""
    codes: IntArray
    """(n,) place of each row's level."""


@dataclass(frozen=True)
class FixedPart:
    """Fixed columns and what each stands for."""

    x: FloatArray
    """(n, p)"""
    names: tuple[str, ...]
    """`intercept`, a number column's own name, `factor=level`."""
    factors: dict[str, Factor]
    numbers: dict[str, FloatArray]
    has_intercept: bool
    interactions: tuple[tuple[str, ...], ...] = ()
    """Columns whose products follow the columns themselves."""

    def row(self, levels: Mapping[str, str]) -> FloatArray:
        """(p,) columns of a prediction at these levels: other factors averaged over their levels with
        equal weight,
        numbers at their mean.

        Raises
        ------
        BadData
            No such factor or level in the fit.
        """
        unknown = [f"{name}={level}" for name, level in levels.items() if level not in self._levels(name)]
        if unknown:
            raise BadData(f"{', '.join(unknown)}: no such factor or level in the fit")
        own: dict[str, FloatArray] = {}
        for name in self.order:
            if name in self.numbers:
                own[name] = np.array([self.numbers[name].mean()])
                continue
            shown = np.array(self.factors[name].levels[1:])
            whole = np.full(shown.size, 1 / (shown.size + 1))
            own[name] = (shown == levels[name]).astype(np.float64) if name in levels else whole
        products = [_product([own[name][None] for name in names])[0] for names in self.interactions]
        return np.concatenate([*([np.ones(1)] if self.has_intercept else []), *own.values(), *products])

    @property
    def order(self) -> tuple[str, ...]:
        """Factors and numbers in the order of their columns."""
        heads = [name.split("=")[0] if name.split("=")[0] in self.factors else name for name in self.names]
        return tuple(dict.fromkeys(head for head in heads if head in self.factors or head in self.numbers))

    def _levels(self, name: str) -> tuple[str, ...]:
        return self.factors[name].levels if name in self.factors else ()


def factor(labels: Sequence[str]) -> Factor:
    """Levels and codes of a column of labels.

    Raises
    ------
    BadData
        No labels.
    """
    if len(labels) == 0:
        raise BadData("a factor without rows has no levels")
    levels = sorted(set(labels), key=_sort_key(set(labels)))
    place = {level: j for j, level in enumerate(levels)}
    return Factor(tuple(levels), np.array([place[label] for label in labels], dtype=np.int64))


def fixed_part(
    columns: Mapping[str, Sequence[str] | ArrayLike],
    factors: Sequence[str],
    *,
    intercept: bool = True,
    interactions: Sequence[tuple[str, ...]] = (),
) -> FixedPart:
    """Fixed columns of n rows.

    Parameters
    ----------
    columns : name to n labels or n numbers, in the order wanted; for none use `intercept_only`
    factors : which of them are labels
    intercept : False where thresholds hold it
    interactions : names of columns whose products follow, named `a=b:c=d`

    Raises
    ------
    BadData
        An interaction names a column that is not there, a factor has one level, a number is not finite,
        lengths differ, or there is no column.
    """
    made: dict[str, Factor] = {}
    numbers: dict[str, FloatArray] = {}
    pieces: list[FloatArray] = []
    names: list[str] = []
    for name, values in columns.items():
        if name in factors:
            one = made[name] = factor([str(value) for value in values])  # type: ignore[union-attr]
            if len(one.levels) < 2:
                raise BadData(
                    f"factor {name!r} has the one level {one.levels[0]!r}, so it has no effect; leave it out"
                )
            pieces.append((one.codes[:, None] == np.arange(1, len(one.levels))).astype(np.float64))
            names += [f"{name}={level}" for level in one.levels[1:]]
        else:
            numbers[name] = as_floats(values)
            if numbers[name].ndim != 1 or not np.isfinite(numbers[name]).all():
                raise BadData(f"column {name!r} holds a number that is not finite")
            pieces.append(numbers[name][:, None])
            names.append(name)
    if not pieces or len({piece.shape[0] for piece in pieces}) > 1:
        raise BadData(f"fixed columns have lengths {[piece.shape[0] for piece in pieces]}; wanted one length")
    places = _places(names, made)
    for parts in interactions:
        if missing := [name for name in parts if name not in columns]:
            raise BadData(
                f"interaction {':'.join(parts)}: {', '.join(missing)} is not among the effects; name it too"
            )
        pieces.append(_product([np.hstack(pieces)[:, places[name]] for name in parts]))
        names += [":".join(each) for each in product(*([names[j] for j in places[name]] for name in parts))]
    if intercept:
        pieces, names = [np.ones((pieces[0].shape[0], 1)), *pieces], ["intercept", *names]
    return FixedPart(np.hstack(pieces), tuple(names), made, numbers, intercept, tuple(interactions))


def _places(names: Sequence[str], factors: Mapping[str, Factor]) -> dict[str, list[int]]:
    """Where the columns of each effect stand."""
    places: dict[str, list[int]] = {}
    for j, name in enumerate(names):
        head = name.split("=")[0]
        places.setdefault(head if head in factors else name, []).append(j)
    return places


def _product(parts: Sequence[FloatArray]) -> FloatArray:
    """(n, p1 p2 ...) products of every column of one part with every column of the next."""
    made = parts[0]
    for part in parts[1:]:
        made = (made[:, :, None] * part[:, None, :]).reshape(made.shape[0], -1)
    return made


def intercept_only(n: int, *, intercept: bool = True) -> FixedPart:
    """The fixed part of n rows without any effect."""
    return FixedPart(np.ones((n, int(intercept))), ("intercept",) * int(intercept), {}, {}, intercept)


def _sort_key(labels: set[str]):  # type: ignore[no-untyped-def]
    try:
        numbers = {label: float(label) for label in labels}
    except ValueError:
        return str
    return lambda label: (numbers[label], label)
