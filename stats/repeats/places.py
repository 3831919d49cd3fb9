"""Where refits run: here, on processes of this machine, or on a Dask scheduler; each gives chunks back."""

from collections.abc import Callable, Iterator, Mapping
from typing import TypeVar

from stats.errors import StatsError

TRIES = 4  # a chunk whose worker was killed is run again so often
CONNECT_WITHIN_S = 10

A = TypeVar("A")
R = TypeVar("R")


class PlaceLost(StatsError):
    """The scheduler cannot be reached, or a chunk killed its worker again and again."""


def here(work: Callable[[A], R], chunks: Mapping[int, A]) -> Iterator[tuple[int, R]]:
    """One chunk after the other, in this process."""
    for number, chunk in chunks.items():
        yield number, work(chunk)


def processes(work: Callable[[A], R], chunks: Mapping[int, A], n: int) -> Iterator[tuple[int, R]]:
    """On `n` processes of this machine; a killed worker costs the chunks under way, which run again.

    Parameters
    ----------
    work : done on each chunk

    Raises
    ------
    PlaceLost
        Workers were killed too often.
    """
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import TerminatedWorkerError

    def numbered(number: int, chunk: A) -> tuple[int, R]:
        return number, work(chunk)

    left = dict(chunks)
    for _ in range(TRIES):
        workers = Parallel(n_jobs=n, return_as="generator_unordered", batch_size=1, pre_dispatch="2*n_jobs")
        try:
            for number, result in workers(delayed(numbered)(*item) for item in list(left.items())):
                del left[number]
                yield number, result
        except TerminatedWorkerError:
            continue
        return
    raise PlaceLost(
        f"{len(left)} chunks left, and a worker process was killed {TRIES} times; is memory short?"
    )


def scheduler(work: Callable[[A], R], chunks: Mapping[int, A], address: str) -> Iterator[tuple[int, R]]:
    """On the workers of a Dask scheduler (`tcp://HOST:PORT`); it runs a lost worker's chunks again itself.

    Parameters
    ----------
    work : done on each chunk
    address : of the scheduler

    Raises
    ------
    PlaceLost
        Dask is missing, no scheduler answers, or a chunk kills its worker again and again.
    """
    try:
        from distributed import Client, as_completed
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise PlaceLost("a scheduler needs Dask; install it with: pip install 'listening[cluster]'") from None
    try:
        client = Client(address, timeout=CONNECT_WITHIN_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise PlaceLost(
            f"{address}: no Dask scheduler answers within {CONNECT_WITHIN_S} s; start one, or say how many "
            "processes of this machine instead"
        ) from error
    with client:
        futures = {client.submit(work, chunk, pure=False): number for number, chunk in chunks.items()}
        try:
            for future in as_completed(list(futures), loop=client.loop):
                yield futures.pop(future), future.result()
        except KilledWorker as error:
            raise PlaceLost(
                f"{address}: a chunk killed its worker again and again; is memory short?"
            ) from error
        finally:
            client.cancel(list(futures))
