"""Tests of change work in one thread."""

from collections.abc import Iterator

import numba
import pytest


@pytest.fixture(autouse=True)
def _one_thread() -> Iterator[None]:
    """Work in one thread: on nets as small as these, waiting for others takes the longest."""
    threads = numba.get_num_threads()
    numba.set_num_threads(1)
    yield
    numba.set_num_threads(threads)
