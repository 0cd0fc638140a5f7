"""Memory: how much may be used, and how much is."""

import os
from pathlib import Path

import numpy as np

from toolbox.errors import ParameterError
from toolbox.units import parse_quantity

__all__ = [
    "MEMORY",
    "SHARE",
    "fits",
    "free_memory",
    "in_gib",
    "memory_allowed",
    "memory_left",
    "memory_share",
    "parse_memory",
    "raster_memory",
]

GIB = 2**30

MEMORY = "LEADLINE_MEMORY"
"""Variable of the environment that says how much memory a process may use."""

SHARE = "LEADLINE_SHARE"
"""The same of one of several processes at work side by side; set by who starts them."""

_PART = 0.6
"""Of the memory that is free, if nobody says how much may be used."""

_LAYERS = 6
"""Rasters held at once while one is made from another and written: both, and what writing takes."""

_GROUPS, _OWN = Path("/sys/fs/cgroup"), Path("/proc/self/cgroup")


def parse_memory(text: str) -> int:
    """Read an amount of memory.

    Parameters
    ----------
    text : str
        Such as ``"2 GiB"``, ``"800 MB"``; a bare number is in GiB.

    Returns
    -------
    int
        Bytes.

    Raises
    ------
    ParameterError
        If it is no amount of memory.

    Examples
    --------
    >>> parse_memory("1.5 GiB"), parse_memory("2 kB")
    (1610612736, 2000)
    """
    try:
        amount = parse_quantity(text, "GiB") * GIB
    except ParameterError:
        amount = np.nan
    if not 0 < amount < np.inf:
        raise ParameterError(f"memory must be an amount such as '2 GiB' or '800 MB', got {text!r}")
    return round(amount)


def memory_left(allowed: int, least: int) -> int:
    """Return how much of the memory allowed is not in use by this process yet.

    Parameters
    ----------
    allowed : int
        For the whole process, bytes.
    least : int
        What the work needs at the least, bytes.

    Raises
    ------
    ParameterError
        If that is more than what is left.
    """
    import psutil

    used = psutil.Process().memory_info().rss
    if used + least > allowed:
        needed = -(-(used + least) // 2**20)
        raise ParameterError(f"memory must be {needed} MiB or more, got {allowed / 2**20:.0f} MiB")
    return allowed - used


def in_gib(amount: float) -> str:
    """Return bytes as a text in GiB, to three figures."""
    return f"{amount / GIB:.3g} GiB"


def memory_allowed(text: str | None = None) -> int:
    """Return how much memory the whole process may use, bytes.

    Parameters
    ----------
    text : str, optional
        An amount, as :func:`parse_memory` reads it. If left out, what ``LEADLINE_MEMORY`` in the
        environment says; else what is in use and six tenths of what is free, or the share of this
        process (:func:`memory_share`) if that is less.

    Raises
    ------
    ParameterError
        If it is no amount of memory.
    """
    import psutil

    if text:
        return parse_memory(text)
    if os.environ.get(MEMORY):
        return _told(MEMORY)
    free = int(psutil.Process().memory_info().rss + _PART * free_memory())
    return min(_told(SHARE), free) if os.environ.get(SHARE) else free


def memory_share(processes: int) -> int:
    """Return how much each of so many processes may use that are about to start, bytes.

    Notes
    -----
    It is the whole of each, libraries included. Who starts them finds it once: asked one after the
    other, each would take most of what is free at the time.
    """
    return max(int(_PART * free_memory() / processes), 2**20)


def _told(variable: str) -> int:
    try:
        return parse_memory(os.environ[variable])
    except ParameterError as error:
        raise ParameterError(f"{variable} in the environment: {error}") from error


def free_memory() -> int:
    """Return how much memory is free, bytes: of the machine, or of the container if that is less.

    Notes
    -----
    A container's limit is that of its control group (version 1 or 2) or of a group above it. What
    files keep in memory counts as free, as the system gives it up when it is wanted.
    """
    import psutil

    return int(max(min(psutil.virtual_memory().available, _free_in_groups()), 0))


def _free_in_groups() -> float:
    """Least that any control group of this process leaves, infinity where none has a limit."""
    try:
        lines = _OWN.read_text(encoding="utf-8").splitlines()
    except OSError:  # no such thing on this system
        return np.inf
    own = [line.split(":", 2)[1:] for line in lines]
    second = [path for controllers, path in own if not controllers]
    first = [path for controllers, path in own if "memory" in controllers.split(",")]
    return min(
        _free_upwards(_GROUPS, second, "memory.max", "memory.current"),
        _free_upwards(_GROUPS / "memory", first, "memory.limit_in_bytes", "memory.usage_in_bytes"),
    )


def _free_upwards(root: Path, own: list[str], limit: str, usage: str) -> float:
    """Least that a group or one above it leaves; in a container its own may stand at the root."""
    groups = {root}
    for path in own:
        group = root / path.lstrip("/")
        groups |= {group, *(above for above in group.parents if above.is_relative_to(root))}
    return min(_free_in_group(group, limit, usage) for group in groups)


def _free_in_group(group: Path, limit: str, usage: str) -> float:
    try:
        most = (group / limit).read_text(encoding="ascii").strip()
        used = int((group / usage).read_text(encoding="ascii"))
        figures = (group / "memory.stat").read_text(encoding="ascii").split()
    except (OSError, ValueError):
        return np.inf
    if not most.isdigit():  # "max": no limit
        return np.inf
    named = dict(zip(figures[::2], figures[1::2], strict=False))
    kept = int(named.get("total_inactive_file", named.get("inactive_file", 0)))
    return int(most) - used + kept


def raster_memory(shape: tuple[int, int], *, layers: float = _LAYERS) -> int:
    """Return the bytes that rasters of a shape take, by default while one is made from another."""
    return int(4 * layers * shape[0] * shape[1])


def fits(shape: tuple[int, int], allowed: int, *, layers: float = _LAYERS) -> bool:
    """Tell whether rasters of a shape can be held beside what is in use, within `allowed` bytes.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    allowed : int
        For the whole process, bytes.
    layers : float
        How many such rasters; by default what making one from another and writing it takes.
    """
    import psutil

    return psutil.Process().memory_info().rss + raster_memory(shape, layers=layers) <= allowed
