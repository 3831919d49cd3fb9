"""One BLAS thread while many small systems are solved: more are slower and change the last bits."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache

from threadpoolctl import ThreadpoolController


@cache
def _controller() -> ThreadpoolController:
    return ThreadpoolController()


@contextmanager
def single() -> Iterator[None]:
    """Linear algebra uses one thread while the block runs."""
    with _controller().limit(limits=1):
        yield
