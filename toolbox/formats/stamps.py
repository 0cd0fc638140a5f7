"""Stamps: the moment that a run's files bear, told by the clock or fixed from outside."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

from toolbox.errors import ParameterError

__all__ = ["FIXED", "moment", "stamped"]

FIXED = "SOURCE_DATE_EPOCH"
"""Variable of the environment: seconds since 1970, instead of the clock's time."""

_LAYERS = "OGR_CURRENT_DATE"


def moment() -> datetime:
    """Return the time now, or the one that the environment fixes.

    Raises
    ------
    ParameterError
        If what is fixed is no time.

    References
    ----------
    Reproducible Builds (2017). SOURCE_DATE_EPOCH specification, version 1.1.
    """
    fixed = os.environ.get(FIXED)
    if fixed is None:
        return datetime.now(UTC)
    try:
        if fixed.isascii() and fixed.isdigit():
            return datetime.fromtimestamp(int(fixed), UTC)
    except (ValueError, OverflowError, OSError):  # beyond the year 9999
        pass
    raise ParameterError(f"{FIXED} must be seconds since 1970, up to the year 9999, got {fixed!r}")


@contextmanager
def stamped(time: datetime) -> Iterator[None]:
    """Let layers that are written in the block bear this time as their last change."""
    import pyogrio

    former = pyogrio.get_gdal_config_option(_LAYERS)
    text = time.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    pyogrio.set_gdal_config_options({_LAYERS: text})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({_LAYERS: former})
