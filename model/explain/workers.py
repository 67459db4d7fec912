"""Who works many cases: this process, several, or the machines of a cluster?

All are used as a map function: it applies a function to every item of a sequence and gives the results in the
same order. Python's own `map` is one.
"""

from __future__ import annotations

import multiprocessing
import os
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, Final

MapFunction = Callable[[Callable[[Any], Any], Sequence[Any]], Iterable[Any]]
"""Applies a function to every item of a sequence and gives the results in the same order."""

BATCH: Final = 8
"""Items handed out at once for each worker: few enough that little is lost when a run is broken off."""


@contextmanager
def processes(jobs: int) -> Iterator[MapFunction]:
    """Give a map function that works in several processes of this machine.

    Parameters
    ----------
    jobs : int
        Processes. They end with this one, however it ends.
    """
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(jobs, context, _end_with_parent) as pool:
        yield mapping(pool)


def mapping(executor: Any) -> MapFunction:
    """Return the map function of whatever can work rows elsewhere.

    Parameters
    ----------
    executor : object
        With a `map` that gives results in order (an executor of `concurrent.futures`), or with `map` and
        `gather`, as a ``dask.distributed.Client`` of the extra ``cluster``::

            from dask.distributed import Client
            with Client("tcp://scheduler:8786") as client:
                write_sweep(scenario, grid, "out.csv", map=mapping(client), batch=64)

        Workers need this package, at the same version.
    """
    if hasattr(executor, "gather"):
        return lambda function, tasks: list(executor.gather(executor.map(function, list(tasks), pure=False)))
    return lambda function, tasks: iter(executor.map(function, tasks))


def _end_with_parent() -> None:
    """End this process when the one that started it is gone, killed perhaps."""
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
