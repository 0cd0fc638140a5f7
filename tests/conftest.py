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


LONG = ("batch/test_cluster.py", "faults/test_whole_run.py", "test_invariants.py", "test_site.py")
"""Files that take minutes where loops are not compiled yet."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Leave long files to who asks for them, so that all the rest fits into twenty minutes."""
    if os.environ.get("LEADLINE_LONG"):
        return
    skip = pytest.mark.skip(reason="takes minutes: set LEADLINE_LONG=1")
    for item in items:
        if item.path.as_posix().endswith(LONG):
            item.add_marker(skip)
