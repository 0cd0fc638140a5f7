"""Processes: how one that does the work of another is started, and what it must see to."""

import multiprocessing
import os
import signal
import threading
import warnings
from collections.abc import Callable
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any

from toolbox.surroundings import plain_letters

__all__ = ["settle_child", "start_child"]


def start_child(work: Callable[..., None], *given: Any) -> tuple[SpawnProcess, Connection]:
    """Start a fresh process; return it and our end of its pipe.

    Parameters
    ----------
    work : callable
        What it does: called with its end of the pipe, and what is given.
    *given
        Further arguments.

    Raises
    ------
    OSError
        If the system has no room for one; nothing is left open.
    """
    spawn = multiprocessing.get_context("spawn")
    ours, theirs = spawn.Pipe()
    process = spawn.Process(target=work, args=(theirs, *given), daemon=True)
    try:
        process.start()
    except OSError:
        ours.close()
        raise
    finally:
        theirs.close()  # so that our end tells when the process is gone
    return process, ours


def settle_child() -> None:
    """Leave interruption to the process that started this one, end with it, and warn nobody.

    Two programs would else be at the same work after the first was killed and started again, and
    warnings of libraries would stand among what is told of the work.
    """
    plain_letters()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    warnings.simplefilter("ignore")


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
