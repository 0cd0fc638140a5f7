"""Worker: a process that does one job after the other."""

import importlib
import os
import traceback
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from toolbox.processes import settle_child

__all__ = ["DONE", "FAILED", "PROGRESS", "READY", "work"]

READY, PROGRESS, DONE, FAILED = "ready", "progress", "done", "failed"

_BEFOREHAND = (
    "toolbox.calls",
    "toolbox.survey.run",
    "numba",
    "geopandas",
    "rasterio",
    "pyogrio",
    "scipy.spatial",
    "shapely",
)
"""Imported before the first job, so that no job waits for it."""


def work(
    pipe: Connection, environment: dict[str, str], memory: int, file_size: int, scratch: Path
) -> None:
    """Do jobs that come through a pipe, one after the other, until it is closed.

    Parameters
    ----------
    pipe : Connection
        Gives orders, and takes pairs of a word and what belongs to it.
    environment : dict
        Set before any library is loaded.
    memory, file_size : int
        Bytes that a job may take, and that a file of it may have.
    scratch : Path
        Folder for what libraries write aside.
    """
    os.environ.update(environment)
    os.environ["TMPDIR"] = str(scratch)
    settle_child()
    for module in _BEFOREHAND:
        importlib.import_module(module)
    from toolbox.jobs.confine import held_memory

    pipe.send((READY, None))
    while True:
        try:
            order = pipe.recv()
        except (EOFError, OSError):
            return
        held_memory(memory, file_size)  # anew: what libraries keep is not for the job to pay
        pipe.send(_done(order, pipe))


def _done(order: Any, pipe: Connection) -> tuple[str, Any]:
    from toolbox.errors import OutputError, TooLargeError, ToolboxError
    from toolbox.faults import FULL, said_by
    from toolbox.jobs.work import carry_out

    try:
        return DONE, carry_out(order, lambda *far: pipe.send((PROGRESS, far)))
    except (TooLargeError, MemoryError) as error:
        large = isinstance(error, TooLargeError)
        return FAILED, ("limit", str(error) if large else "it took more memory than a job may")
    except ToolboxError as error:
        full = isinstance(error, OutputError) and any(os.strerror(n) in str(error) for n in FULL)
        return FAILED, ("disk" if full else "input", said_by(error))
    except Exception as error:
        traceback.print_exc()  # for who keeps the server, not for who asks it
        return FAILED, ("server", f"an error of the program: {type(error).__name__}")
