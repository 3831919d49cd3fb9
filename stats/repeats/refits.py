"""Many refits: one function, many seeds, here, on several processes or machines, with the same bits."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import TypeVar

import numpy as np

from stats import threads
from stats.errors import BadData
from stats.repeats import places

CHUNK = 16  # seeds handed out together; fixed, so that neither order nor place changes a result

T = TypeVar("T")
Progress = Callable[[int, int], None]


def seeds(seed: int, count: int) -> list[np.random.SeedSequence]:
    """`count` independent seeds from one.

    Raises
    ------
    BadData
        `count` is below 1.
    """
    if count < 1:
        raise BadData(f"{count} seeds, wanted at least 1")
    return np.random.SeedSequence(seed).spawn(count)


def run(
    function: Callable[[np.random.Generator], T],
    seeds: Sequence[np.random.SeedSequence],
    where: int | str = 1,
    *,
    done: Mapping[int, list[T]] | None = None,
    on_chunk: Callable[[int, list[T]], None] | None = None,
    on_progress: Progress | None = None,
) -> list[T]:
    """`function` of a generator made from each seed, in the order of the seeds.

    The results are the same to the bit wherever it runs on one kind of machine: each seed has its own
    generator, chunks are fixed, and BLAS keeps to one thread. A killed worker costs its chunk, which runs
    again.

    Parameters
    ----------
    function : takes a generator; must not depend on anything that changes between calls
    seeds : from `seeds`
    where : 1, N, or an address
        1: here, one after the other; N: on N processes of this machine; `tcp://HOST:PORT`: on the workers of
        that Dask scheduler.
    done : results of whole chunks from an earlier run, as `on_chunk` was told them: not run again
    on_chunk : called with (number of the chunk, its results) as each comes back, in any order
    on_progress : called with (done, all) as chunks come back

    Raises
    ------
    BadData
        `where` is no place.
    PlaceLost
        The scheduler cannot be reached, or a chunk killed its worker again and again.
    """
    chunks = {n: list(seeds[at : at + CHUNK]) for n, at in enumerate(range(0, len(seeds), CHUNK))}
    results = {n: list(done[n]) for n in chunks if done and n in done}
    left = {n: chunk for n, chunk in chunks.items() if n not in results}
    n_done = sum(map(len, results.values()))
    for number, result in _results(partial(_chunk, function), left, where):
        results[number] = result
        n_done += len(result)
        if on_chunk is not None:
            on_chunk(number, result)
        if on_progress is not None:
            on_progress(n_done, len(seeds))
    return [one for number in chunks for one in results[number]]


def _results(
    work: Callable[[list[np.random.SeedSequence]], list[T]],
    chunks: dict[int, list[np.random.SeedSequence]],
    where: int | str,
) -> Iterator[tuple[int, list[T]]]:
    if isinstance(where, str):
        if "://" not in where:
            raise BadData(f"where is {where!r}, wanted a number of processes or tcp://HOST:PORT")
        return places.scheduler(work, chunks, where)
    if where < 1:
        raise BadData(f"where is {where}, wanted 1 (here) or a number of processes")
    if where == 1 or len(chunks) < 2:
        return places.here(work, chunks)
    return places.processes(work, chunks, where)


def _chunk(function: Callable[[np.random.Generator], T], seeds: Sequence[np.random.SeedSequence]) -> list[T]:
    with threads.single():
        return [function(np.random.default_rng(seed)) for seed in seeds]
