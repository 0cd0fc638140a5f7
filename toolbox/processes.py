"""Processes: what one that does the work of another must see to before it begins."""

import multiprocessing
import os
import signal
import threading
import warnings

from toolbox.surroundings import plain_letters

__all__ = ["settle_child"]


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
