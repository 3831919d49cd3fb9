"""Many refits: one function, many seeds, here or on several processes, with the same bits wherever they
run."""

from collections.abc import Callable, Iterable, Sequence
from typing import TypeVar

import numpy as np

from stats import threads
from stats.errors import BadData

CHUNK = 16  # seeds handed out together; fixed, so that neither order nor place changes a result

T = TypeVar("T")
Progress = Callable[[int, int], None]


def seeds(seed: int, count: int) -> list[np.random.SeedSequence]:
    """`count` independent seeds from one."""
    if count < 1:
        raise BadData(f"{count} seeds, wanted at least 1")
    return np.random.SeedSequence(seed).spawn(count)


def run(
    function: Callable[[np.random.Generator], T],
    seeds: Sequence[np.random.SeedSequence],
    where: int = 1,
    *,
    on_progress: Progress | None = None,
) -> list[T]:
    """`function` of a generator made from each seed, in the order of the seeds.

    Parameters
    ----------
    function : takes a generator; must not depend on anything that changes between calls
    seeds : from `seeds`
    where : int, >= 1
        1: here, one after the other; N: on N processes of this machine. The results are the same to the
        bit: each
        seed has its own generator and BLAS keeps to one thread.
    on_progress : called with (done, all) as chunks come back
    """
    if where < 1:
        raise BadData(f"where is {where}, wanted 1 (here) or a number of processes")
    chunks = [list(seeds[at : at + CHUNK]) for at in range(0, len(seeds), CHUNK)]
    results: list[T] = []
    for chunk in _results(function, chunks, where):
        results += chunk
        if on_progress is not None:
            on_progress(len(results), len(seeds))
    return results


def _results(
    function: Callable[[np.random.Generator], T], chunks: list[list[np.random.SeedSequence]], where: int
) -> Iterable[list[T]]:
    if where == 1 or len(chunks) < 2:
        return (_chunk(function, chunk) for chunk in chunks)
    from joblib import Parallel, delayed

    workers = Parallel(n_jobs=where, return_as="generator", batch_size=1, pre_dispatch="2*n_jobs")
    done: Iterable[list[T]] = workers(delayed(_chunk)(function, chunk) for chunk in chunks)
    return done


def _chunk(function: Callable[[np.random.Generator], T], seeds: Sequence[np.random.SeedSequence]) -> list[T]:
    with threads.single():
        return [function(np.random.default_rng(seed)) for seed in seeds]
