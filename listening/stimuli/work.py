"""Many sounds, one after the other or in several processes; the results come in order either way."""

import os
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import Any, TypeVar

import joblib

Progress = Callable[[int, int], None] | None
Result = TypeVar("Result")


class Work:
    """Does tasks one after the other or in processes, in order, and counts them."""

    def __init__(self, jobs: int, on_progress: Progress, *, total: int) -> None:
        self.jobs, self.on_progress, self.total, self.done = jobs, on_progress, total, 0

    def each(self, act: Callable[..., Result], items: Sequence[Any], *shared: Any) -> list[Result]:
        results = []
        for result in self._stream(act, items, shared):
            results.append(result)
            self.done += 1
            if self.on_progress:
                self.on_progress(self.done, self.total)
        return results

    def _stream(
        self, act: Callable[..., Result], items: Sequence[Any], shared: tuple[Any, ...]
    ) -> Iterable[Result]:
        if self.jobs == 1:
            return (act(item, *shared) for item in items)
        parallel = joblib.Parallel(n_jobs=self.jobs, return_as="generator")
        done: Iterable[Result] = parallel(joblib.delayed(from_here(act))(item, *shared) for item in items)
        return done


def from_here(act: Callable[..., Result]) -> Callable[..., Result]:
    """The same act for another process, which may have started when this one stood in another folder."""
    return partial(_from, os.getcwd(), act)


def _from(folder: str, act: Callable[..., Result], *given: Any) -> Result:
    os.chdir(folder)
    return act(*given)
