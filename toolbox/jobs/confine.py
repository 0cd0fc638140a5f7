"""Confine: what a process that does the work of others may use."""

import multiprocessing
import os
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress

from toolbox.batch.engines import ONE_THREAD

__all__ = ["ALLOWED", "environment", "held_memory", "other_drivers"]

ALLOWED = frozenset(
    {"GTiff", "COG", "MEM", "PNG", "MBTiles", "GPKG", "SQLite", "GeoJSON", "ESRI Shapefile"}
    | {"FlatGeobuf", "GPX", "KML", "Memory"}
)
"""Drivers of the GDAL library that may open a file. Others follow names of files or addresses that
stand in what they read: a text that describes a virtual raster, named as a GeoTIFF, would be opened
by what it holds and could show any file of the machine."""


def environment(drivers: Iterable[str], memory: int) -> dict[str, str]:
    """Return the environment of a process that does the work of others.

    Parameters
    ----------
    drivers : iterable of str
        Drivers that must not open anything.
    memory : int
        Bytes that a job may take.
    """
    names = ",".join(sorted(drivers))
    return ONE_THREAD | {
        "GDAL_SKIP": names,
        "OGR_SKIP": names,
        "GDAL_HTTP_PROXY": "127.0.0.1:9",  # where nobody listens
        "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO",
        "OGR_SQLITE_LOAD_EXTENSIONS": "",
        "PROJ_NETWORK": "OFF",
        "LEADLINE_MEMORY": f"{memory / 1024**3 * 0.8:.4f} GiB",
        "ARROW_DEFAULT_MEMORY_POOL": "system",  # else it sets a GiB aside for a text of a few words
        "MPLBACKEND": "agg",
        "CPL_LOG": os.devnull,  # else a line for each driver that a copy of GDAL never had
    }


def other_drivers() -> set[str]:
    """List all drivers of every copy of the GDAL library in use that are not in ALLOWED.

    It is found out in a process of its own, for the libraries take much memory.
    """
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        return pool.submit(_other_drivers).result()


def _other_drivers() -> set[str]:
    import pyogrio
    import rasterio

    with rasterio.Env() as here:
        found = set(here.drivers())
    with suppress(ImportError):  # where there is no fiona, nothing opens a file by it
        import fiona.env

        with fiona.env.Env():
            found |= set(fiona.env.Env().drivers())
    return (found | set(pyogrio.list_drivers())) - ALLOWED


def held_memory(most: int, file_size: int) -> None:
    """Let this process take at most so many bytes more than it has, and write no larger file.

    Parameters
    ----------
    most : int
        Bytes of memory.
    file_size : int
        Bytes of any one file.

    Notes
    -----
    Where the system knows no such limits, as Windows does not, nothing is done.
    """
    with suppress(ImportError):
        import resource

        import psutil

        used = getattr(psutil.Process().memory_info(), "data", 0)
        for limit, bytes_ in (
            (resource.RLIMIT_DATA, used + most),
            (resource.RLIMIT_FSIZE, file_size),
            (resource.RLIMIT_CORE, 0),
        ):
            hard = resource.getrlimit(limit)[1]
            with suppress(ValueError, OSError):
                allowed = bytes_ if hard == resource.RLIM_INFINITY else min(bytes_, hard)
                resource.setrlimit(limit, (allowed, hard))
