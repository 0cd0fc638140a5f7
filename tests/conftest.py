"""What all tests share."""

import os

import pytest
from hypothesis import settings

# the same examples every time: a test that fails does so for everybody
settings.register_profile("house", derandomize=True, deadline=None, max_examples=40)
settings.load_profile("house")


def pytest_configure(config: pytest.Config) -> None:
    """Give compiled kernels the two threads that a worker may have, not the whole machine."""
    if os.environ.get("PYTEST_XDIST_WORKER"):
        os.environ.setdefault("NUMBA_NUM_THREADS", "2")
