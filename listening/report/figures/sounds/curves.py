"""The curves of one sound that its pictures are drawn from, as `measure` keeps them."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]

DRAWN = {"_db": 2, "_hz": 2, "_s": 4, "_sone": 3}
"""Decimals that a drawing can show, by unit: the last bits of a fit hang on the processor, no picture may."""


@dataclass(frozen=True, eq=False)
class Curves:
    """Arrays of one sound; an array that is not known is empty. Times are in s from the file's start."""

    label: str
    onset_s: float
    calibrated: bool
    arrays: Mapping[str, FloatArray]

    def get(self, name: str) -> FloatArray:
        """The array of this name; empty where there is none."""
        return self.arrays.get(name, np.zeros(0, dtype=np.float32))

    def has(self, *names: str) -> bool:
        """Whether all of these are known."""
        return all(self.get(name).size for name in names)

    @property
    def unit(self) -> str:
        """What levels are referred to."""
        return "dB re 20 µPa" if self.calibrated else "dB re full scale"


def of_arrays(label: str, arrays: Mapping[str, FloatArray], *, calibrated: bool | None = None) -> Curves:
    """The curves in arrays by name, as `measure` writes them."""
    known = arrays.get("calibrated")
    told = bool(known) if calibrated is None and known is not None else bool(calibrated)
    onset = arrays.get("onset_s")
    drawn = {name: _rounded(name, values) for name, values in arrays.items()}
    return Curves(label, float(drawn["onset_s"]) if onset is not None else 0.0, told, drawn)


def _rounded(name: str, values: FloatArray) -> FloatArray:
    decimals = next((n for unit, n in DRAWN.items() if name.endswith(unit)), None)
    return values if decimals is None else np.round(values, decimals)
