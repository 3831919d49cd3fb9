"""Roots against known ones and against scipy's."""

import math

import pytest
from scipy import optimize

from stats.errors import NotConverged
from stats.fixed import bracketed_root

CASES = {
    "cube root of 2": (lambda x: x**3 - 2.0, 0.0, 2.0, 2.0 ** (1 / 3)),
    "fixed point of cos": (lambda x: math.cos(x) - x, 0.0, 1.0, 0.7390851332151607),
    "falling": (lambda x: math.exp(-x) - 0.5, 0.0, 40.0, math.log(2.0)),
    "flat": (lambda x: (x - 0.3) ** 9, -1.0, 1.0, 0.3),
    "steep": (lambda x: math.tanh(1e6 * (x - 1e-3)), -1.0, 20.0, 1e-3),
    "at an end": (lambda x: x, 0.0, 1.0, 0.0),
}


@pytest.mark.parametrize("case", CASES)
def test_a_root_is_found_within_the_tolerance(case):
    function, low, high, root = CASES[case]
    assert bracketed_root.find(function, low, high, tolerance=1e-12) == pytest.approx(root, abs=1e-12)


@pytest.mark.parametrize("case", ["cube root of 2", "fixed point of cos", "falling"])
def test_it_takes_few_calls(case):
    function, low, high, _ = CASES[case]
    calls = []
    bracketed_root.find(lambda x: calls.append(x) or function(x), low, high, tolerance=1e-13)
    bisection = math.ceil(math.log2((high - low) / 1e-13))
    assert len(calls) <= bisection + 4
    assert len(calls) <= 2 * optimize.root_scalar(function, bracket=(low, high), xtol=1e-13).function_calls


def test_ends_of_one_sign_are_refused():
    with pytest.raises(NotConverged, match="no change of sign"):
        bracketed_root.find(lambda x: x + 3.0, 0.0, 1.0, tolerance=1e-9)
    with pytest.raises(NotConverged, match="nan"):
        bracketed_root.find(lambda x: math.nan, 0.0, 1.0, tolerance=1e-9)
