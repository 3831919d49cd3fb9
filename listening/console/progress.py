"""The progress bar of long commands, on standard error, silent when that is no terminal."""

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from listening.console import amount


@contextmanager
def bar(label: str) -> Iterator[Callable[[int, int], None]]:
    """A function (done, total) that draws a bar headed by `label` while the block runs."""
    if amount.is_quiet() or not sys.stderr.isatty():
        yield lambda done, total: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from listening.console.streams import drawing

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    console = Console(file=drawing(sys.stderr))
    with Progress(*columns, console=console) as progress:
        task = progress.add_task(label, total=None)
        yield lambda done, total: progress.update(task, completed=done, total=total)
