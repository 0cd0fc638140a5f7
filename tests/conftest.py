"""What all tests share."""

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """Compiled kernels use the threads that a worker may have, not those of the whole machine."""
    import os

    if os.environ.get("PYTEST_XDIST_WORKER"):
        os.environ.setdefault("NUMBA_NUM_THREADS", "2")
