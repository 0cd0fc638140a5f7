"""Measuring: sides that take turns, medians, and rows of a table with a goal each."""

import gc
import json
import math
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import click
import psutil

__all__ = [
    "FASTER",
    "SLOWER",
    "Cost",
    "Row",
    "Sides",
    "cost_of",
    "foreign_environment",
    "machine",
    "markdown",
    "medians",
    "quiet",
    "show",
    "table",
]

_LIBRARIES = ("numpy", "scipy", "numba", "pythoncdt", "shapely", "geopandas", "pyogrio", "rasterio")
_BUSY, _GLANCE, _PATIENCE = 0.3, 0.5, 60.0  # cores, s, s

FASTER, SLOWER = "x as fast", "x as long"
"""Units of a ratio: of speeds, where more is better, and of times, where less is."""


Sides = dict[str, Callable[[], Any]]
"""What is timed, by name."""


@dataclass(frozen=True)
class Row:
    """One figure: what was measured, against what, and what it should be.

    A row without a goal only informs.
    """

    what: str
    against: str
    value: float
    unit: str = FASTER
    at_least: float | None = None
    at_most: float | None = None

    @property
    def goal(self) -> str:
        """The goal in words."""
        ends = ((">=", self.at_least), ("<=", self.at_most))
        return " ".join(
            f"{sign} {end:g} {self.unit}".strip() for sign, end in ends if end is not None
        )

    @property
    def verdict(self) -> str:
        """Whether the goal is met."""
        low = -math.inf if self.at_least is None else self.at_least
        high = math.inf if self.at_most is None else self.at_most
        return ("pass" if low <= self.value <= high else "FAIL") if self.goal else ""

    @property
    def cells(self) -> tuple[str, ...]:
        """The row as text."""
        measured = f"{self.value:.3g} {self.unit}".strip()
        return self.what, self.against, measured, self.goal, self.verdict


_HEADINGS = ("what", "against", "measured", "goal", "verdict")


def medians(sides: Sides, rounds: int) -> dict[str, float]:
    """Run all sides in turn, round after round, and return the median seconds of each.

    Each round waits a while for other programs to leave the machine alone.
    """
    seconds: dict[str, list[float]] = {name: [] for name in sides}
    for _ in range(rounds):
        quiet(_PATIENCE)
        for name, side in sides.items():
            gc.collect()
            start = time.perf_counter()
            side()
            seconds[name].append(time.perf_counter() - start)
    return {name: statistics.median(values) for name, values in seconds.items()}


@dataclass(frozen=True)
class Cost:
    """What a process took."""

    seconds: float
    processor: float
    gib: float
    """Peak of its resident memory."""


_LAUNCH = """
import json, os, subprocess, sys, time
told, cores, *command = sys.argv[1:]
if int(cores):
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:int(cores)])
begun = time.perf_counter()
process = subprocess.Popen(command)
_, status, usage = os.wait4(process.pid, 0)
figures = time.perf_counter() - begun, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 2**20
with open(told, "w") as file:
    json.dump(figures, file)
sys.exit(os.waitstatus_to_exitcode(status))
"""


def cost_of(
    command: Sequence[str | Path],
    *,
    cores: int = 0,
    env: dict[str, str] | None = None,
    stdout: Any = None,
) -> Cost:
    """Run a command in a process of its own, on so many cores (0: on all).

    A small process starts it: Linux counts the memory of whoever starts a program as the program's.
    """
    with tempfile.TemporaryDirectory() as folder:
        told = Path(folder) / "told.json"
        launched = [sys.executable, "-c", _LAUNCH, told, str(cores), *command]
        code = subprocess.run(launched, env=env, stdout=stdout, check=False).returncode
        if code:
            raise RuntimeError(f"{' '.join(map(str, command))!r:.200} ended with exit code {code}")
        return Cost(*json.loads(told.read_text()))


def quiet(patience: float) -> bool:
    """Wait until others leave the machine alone; return False if they did not in `patience` s.

    The environment variable BENCH_PATIENCE, in seconds, limits it: 0 does not wait.
    """
    end = time.monotonic() + min(patience, float(os.environ.get("BENCH_PATIENCE", patience)))
    while time.monotonic() < end:
        if psutil.cpu_percent(_GLANCE) / 100 * (os.cpu_count() or 1) < _BUSY:
            return True
    return False


def foreign_environment() -> dict[str, str]:
    """Return the environment without what points another GDAL at the data of ours."""
    return {k: v for k, v in os.environ.items() if k not in ("GDAL_DATA", "PROJ_LIB", "PROJ_DATA")}


def machine() -> str:
    """Say in one line where, with what and when figures were measured."""
    libraries = ", ".join(f"{name} {version(name)}" for name in _LIBRARIES)
    told = subprocess.run(["gdal_grid", "--version"], capture_output=True, check=True, text=True)
    programs = told.stdout.split(",")[0]
    return (
        f"{os.cpu_count()} cores ({platform.machine()}), {platform.system()}, "
        f"Python {platform.python_version()}, {libraries}, programs of {programs}; "
        f"{datetime.now(UTC):%Y-%m-%d}"
    )


def show(rows: Iterable[Row]) -> None:
    """Print rows in aligned columns."""
    lines = [_HEADINGS, *(row.cells for row in rows)]
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    for line in lines:
        padded = (f"{cell:{width}}" for cell, width in zip(line, widths, strict=True))
        click.echo("  ".join(padded).rstrip())


def markdown(rows: Iterable[Row]) -> str:
    """Write rows as a Markdown table."""
    return table([_HEADINGS, *(row.cells for row in rows)])


def table(lines: Iterable[Sequence[str]]) -> str:
    """Write lines of cells as a Markdown table; the first are its headings."""
    heading, *rest = lines
    return "\n".join(
        f"| {' | '.join(line)} |" for line in (heading, ("---",) * len(heading), *rest)
    )
