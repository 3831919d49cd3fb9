"""A pytest plug-in: every number that tests get from public functions of `stats` and `listening.metrics`.

    python -m pytest -p tests.processors.recorder --record FILE tests/stats

Only what a test itself calls is kept, not what such a call does inside. `processors.py` compares such files.
"""

import functools
import importlib
import pkgutil
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

PACKAGES = ("stats", "listening.metrics")
LEFT_OUT = {"gradient", "steps", "evaluations", "mode", "structure", "products", "parts"}
"""How far the way was and what it was built from, not what was found."""
LONGEST = 4096  # values kept of one array


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--record", type=Path, help="file for the numbers that public functions gave")


def pytest_configure(config: pytest.Config) -> None:
    if config.getoption("--record"):
        config.pluginmanager.register(Recorder(config.getoption("--record")))


class Recorder:
    """Wraps the functions before the test files are read, and writes down what they gave."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.test, self.depth = "", 0
        self.found: dict[str, np.ndarray] = {}
        self.calls: Counter[str] = Counter()
        for module in (m for package in PACKAGES for m in _modules(package)):
            for name, value in list(vars(module).items()):
                if type(value) is FunctionType and value.__module__ == module.__name__ and name[0] != "_":
                    setattr(module, name, self.wrapped(value))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item: pytest.Item) -> Iterator[None]:
        self.test, self.depth = item.nodeid, 0
        try:
            return (yield)
        finally:
            self.test = ""

    def pytest_sessionfinish(self) -> None:
        np.savez(self.path, **self.found)

    def wrapped(self, function: Callable[..., Any]) -> Callable[..., Any]:
        name = f"{function.__module__}.{function.__name__}"

        @functools.wraps(function)
        def call(*args: Any, **kwargs: Any) -> Any:
            self.depth += 1
            try:
                result = function(*args, **kwargs)
            finally:
                self.depth -= 1
            if self.depth == 0 and self.test:
                self.keep(name, result)
            return result

        return call

    def keep(self, name: str, result: Any) -> None:
        values = np.array(list(numbers(result)), dtype=float)
        if values.size:
            place = f"{name}|{self.test}"
            self.calls[place] += 1
            self.found[f"{place}|{self.calls[place]}"] = values


def numbers(result: Any) -> Iterator[float]:
    """All numbers in a result, in order; a word counts as the number of its letters and their sum."""
    if isinstance(result, str):
        yield from (len(result), sum(map(ord, result)))
    elif isinstance(result, bool | int | float | np.number | np.bool_):
        yield float(result)
    elif isinstance(result, complex):
        yield from (result.real, result.imag)
    elif isinstance(result, pd.DataFrame):
        yield from numbers(result.select_dtypes("number").to_numpy())
    elif isinstance(result, np.ndarray) and result.dtype.kind in "fiub":
        yield from result.ravel()[:LONGEST].astype(float).tolist()
    elif isinstance(result, np.ndarray) and result.dtype.kind == "c":
        yield from numbers(result.view(float))
    elif is_dataclass(result):
        for field in fields(result):
            if field.name not in LEFT_OUT:
                yield from numbers(getattr(result, field.name))
    elif isinstance(result, dict):
        yield from numbers(list(result.values()))
    elif isinstance(result, list | tuple):
        for one in result:
            yield from numbers(one)


def _modules(package: str) -> list[ModuleType]:
    top = importlib.import_module(package)
    below = pkgutil.walk_packages(top.__path__, package + ".")
    return [top, *(importlib.import_module(one.name) for one in below)]
