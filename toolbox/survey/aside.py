"""Aside: files that are written by threads while the rest of a survey is drawn."""

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any

__all__ = ["Aside", "aside"]

_MOST_THREADS = 3
"""Each holds a raster and its file in memory."""


class Aside:
    """Does work in other threads, to be waited for where :func:`aside` ends.

    Only what lets Python go on meanwhile, such as compressing a raster, is faster by it. Nothing
    that sets what all threads share belongs here: drawing does, by its settings and its warnings.
    """

    def __init__(self, pool: ThreadPoolExecutor) -> None:
        self._pool = pool
        self._begun: list[Future[Any]] = []

    def do(self, work: Callable[..., Any], *given: Any, **options: Any) -> None:
        """Begin some work; what goes wrong in it is raised where it is waited for."""
        self._begun.append(self._pool.submit(work, *given, **options))

    def wait(self) -> None:
        """Wait for all that was begun; of several errors the one of what was begun first is told.

        Raises
        ------
        Exception
            As it was raised.
        """
        begun, self._begun = self._begun, []
        for each in begun:
            each.result()


@contextmanager
def aside() -> Iterator[Aside]:
    """Give threads for some work, one fewer than the machine has cores, and wait for them.

    Where the work beside them fails, what was not begun is left out and what was is waited for:
    afterwards no file is open any more.
    """
    # what threads write with is imported here: one that imports waits for ever where the main
    # thread was interrupted amid an import of its own
    import rasterio.io
    import rasterio.shutil  # noqa: F401

    threads = min(max((os.cpu_count() or 1) - 1, 1), _MOST_THREADS)
    pool = ThreadPoolExecutor(threads, thread_name_prefix="writing")
    try:
        begun = Aside(pool)
        yield begun
        begun.wait()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
