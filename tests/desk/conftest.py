"""A desk as a person starts it, and a tiny invented pond to lay on it."""

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

START = "from toolbox.desk.command import desk_command as c; c()"
EAST, NORTH, CRS_CODE = 501_000.0, 5_201_000.0, "EPSG:32633"
RIM = [(0, 0), (60, -6), (96, 20), (88, 60), (40, 72), (-8, 44)]


@dataclass(frozen=True)
class Pond:
    """Files of a pond of 77 soundings, in a folder."""

    folder: Path
    shoreline: Path
    soundings: Path
    places: np.ndarray
    depth: np.ndarray

    def write(self, name: str, header: str, *columns: np.ndarray) -> Path:
        """Write a table of the pond."""
        path = self.folder / name
        rows = np.column_stack(columns)
        np.savetxt(path, rows, "%.7f", ",", header=header, comments="")
        return path


def _places(water: shapely.Polygon) -> np.ndarray:
    east, north = np.meshgrid(np.arange(-5, 96, 8.0), np.arange(-5, 72, 8.0))
    points = np.column_stack([EAST + east.ravel(), NORTH + north.ravel()])
    return points[shapely.contains_xy(shapely.buffer(water, -1), *points.T)]


@pytest.fixture(scope="session")
def pond(tmp_path_factory: pytest.TempPathFactory) -> Pond:
    """Write a pond: the deeper the farther from its bank, 3 m at most."""
    import geopandas

    folder = tmp_path_factory.mktemp("pond")
    water = shapely.Polygon(np.array(RIM) + np.array([EAST, NORTH]))
    shoreline = folder / "pond_shore.geojson"
    frame = geopandas.GeoDataFrame(geometry=[water], crs=CRS_CODE)
    frame.to_crs(4326).to_file(shoreline, driver="GeoJSON")
    places = _places(water)
    depth = np.round(0.5 * np.sqrt(shapely.distance(shapely.points(places), water.exterior)), 2)
    pond = Pond(folder, shoreline, folder / "pond.csv", places, depth)
    pond.write("pond.csv", "easting,northing,depth", *places.T, depth)
    return pond


@dataclass
class Started:
    """A desk that runs in a process of its own."""

    process: subprocess.Popen[str]
    address: str
    said: list[str]

    @property
    def root(self) -> str:
        """Address without the token."""
        return self.address.split("?")[0]

    @property
    def port(self) -> int:
        """Of the desk."""
        return int(self.root.rstrip("/").rsplit(":", 1)[1])


def _gather(stream: Any, said: list[str]) -> None:
    said.extend(stream)


@pytest.fixture(scope="session")
def desk_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Name a folder for the desk."""
    return tmp_path_factory.mktemp("desk") / "kept"


@pytest.fixture(scope="session")
def started(desk_folder: Path) -> Iterator[Started]:
    """Start a desk."""
    command = [sys.executable, "-c", START, "--no-browser", "--folder", str(desk_folder)]
    process = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    assert process.stderr is not None
    first = process.stdout.readline()
    said: list[str] = []
    threads = [
        threading.Thread(target=_gather, args=(stream, said), daemon=True)
        for stream in (process.stdout, process.stderr)
    ]
    for thread in threads:
        thread.start()
    assert first.startswith("The desk is open at http://127.0.0.1:"), first
    yield Started(process, first.split()[-1], said)
    process.send_signal(signal.SIGINT)
    assert process.wait(30) == 0
    for thread, stream in zip(threads, (process.stdout, process.stderr), strict=True):
        thread.join(10)
        stream.close()
    assert not [line for line in said if "token" in line or "Traceback" in line]
