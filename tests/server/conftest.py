"""A server of its own process for all tests of this folder, and tools that misbehave."""

import base64
import json
import os
import subprocess
import sys
import textwrap
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import numpy as np
import pytest
import rasterio
from affine import Affine

import toolbox

PROBE = '''
"""Tools that misbehave."""

import os
import signal
import time
import warnings
from typing import Annotated

import numpy as np
import pandas

from toolbox.layers import Table
from toolbox.tool import Range, tool


@tool("Sleep")
def probe_sleep(*, seconds: Annotated[float, Range("s", min=0)] = 0.0) -> Table:
    """Sleep.

    Parameters
    ----------
    seconds : float
        How long.

    Returns
    -------
    Table
        That.
    """
    warnings.warn(f"of a library, {__file__}", stacklevel=1)
    time.sleep(seconds)
    return Table(pandas.DataFrame({"slept_s": [seconds]}), "sleep")


@tool("Hoard")
def probe_hoard(*, mib: Annotated[int, Range("MiB", min=1)] = 1) -> Table:
    """Take memory.

    Parameters
    ----------
    mib : int
        How much.

    Returns
    -------
    Table
        That.
    """
    held = np.ones(mib * 131_072)
    return Table(pandas.DataFrame({"held": [held.sum()]}), "hoard")


@tool("Die")
def probe_die() -> Table:
    """Kill its own process.

    Returns
    -------
    Table
        Never.
    """
    os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError


@tool("Break")
def probe_break() -> Table:
    """Raise an error that nobody foresaw.

    Returns
    -------
    Table
        Never.
    """
    raise RuntimeError("/secret/path")
'''

HOUSE = str(Path(toolbox.__file__).parents[1])
START = """
from toolbox.server.command import serve_command

if __name__ == "__main__":
    serve_command()
"""
LIMITS = {
    "--jobs": "2",
    "--queue": "200",
    "--seconds": "120",
    "--memory": "1 GiB",
    "--body": "2 MiB",
    "--upload": "5 MiB",
    "--disk": "1 GiB",
    "--patience": "1.5",
}


@dataclass
class Server:
    """A server that runs."""

    process: subprocess.Popen[str]
    url: str
    work: Path

    @property
    def port(self) -> int:
        """Where it listens."""
        return int(self.url.rsplit(":", 1)[1])


def start(folder: Path, **limits: str) -> Server:
    """Start a server with its work in a folder, and the tools that misbehave."""
    (folder / "probe.py").write_text(PROBE)
    info = folder / "probe-1.0.dist-info"
    info.mkdir(exist_ok=True)
    (info / "METADATA").write_text("Metadata-Version: 2.1\nName: probe\nVersion: 1.0\n")
    names = ("sleep", "hoard", "die", "break")
    entries = [f"{name} = probe:probe_{name}" for name in names]
    (info / "entry_points.txt").write_text("[toolbox.tools]\n" + "\n".join(entries))
    (folder / "start.py").write_text(START)
    options = LIMITS | {f"--{key}": value for key, value in limits.items()}
    given = [part for pair in options.items() for part in pair]
    command = [sys.executable, "-u", str(folder / "start.py"), "--work", str(folder / "work")]
    paths = filter(None, [os.environ.get("PYTHONPATH")])
    with (folder / "errors.txt").open("w") as errors:
        process = subprocess.Popen(
            [*command, "--port", "0", *given],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join([str(folder), HOUSE, *paths])},
        )
    assert process.stdout is not None
    told = process.stdout.readline()
    assert told.startswith("serving http://"), (folder / "errors.txt").read_text()
    return Server(process, told.split()[1].rstrip("/"), folder / "work")


def stop(server: Server) -> None:
    """End a server as its keeper would."""
    server.process.terminate()
    server.process.wait(60)
    if server.process.stdout is not None:
        server.process.stdout.close()


@pytest.fixture(scope="session")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """Give a server for all tests."""
    running = start(tmp_path_factory.mktemp("server"))
    yield running
    stop(running)


@pytest.fixture(scope="session")
def client(server: Server) -> Iterator[httpx.Client]:
    """Give a client of it."""
    with httpx.Client(base_url=server.url, timeout=120) as found:
        yield found


@pytest.fixture(scope="session")
def raster(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Give a GeoTIFF: a plane that falls by 1 in 2 towards the south."""
    path = tmp_path_factory.mktemp("raster") / "plane.tif"
    values = np.add.outer(np.arange(20.0), np.zeros(20)).astype(np.float32)
    profile = {"driver": "GTiff", "dtype": "float32", "count": 1, "height": 20, "width": 20}
    place = {"transform": Affine(2, 0, 500_000, 0, -2, 5_300_000), "crs": "EPSG:32633"}
    with rasterio.open(path, "w", **profile, **place) as target:
        target.write(values, 1)
    return path.read_bytes()


@pytest.fixture(scope="session")
def inline(raster: bytes) -> dict[str, str]:
    """Give that GeoTIFF as a request holds it."""
    media = "image/tiff; application=geotiff"
    return {"value": base64.b64encode(raster).decode(), "encoding": "base64", "mediaType": media}


POND = [[500_000, 5_300_000], [500_060, 5_300_000], [500_060, 5_300_060], [500_000, 5_300_060]]


@pytest.fixture(scope="session")
def pond() -> dict[str, Any]:
    """Give a square pond of 60 m as GeoJSON."""
    shape = {"type": "Polygon", "coordinates": [[*POND, POND[0]]]}
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32633"}}
    feature = {"type": "Feature", "properties": {}, "geometry": shape}
    return {"type": "FeatureCollection", "crs": crs, "features": [feature]}


@pytest.fixture(scope="session")
def survey(pond: dict[str, Any]) -> dict[str, bytes]:
    """Give the files of a small survey."""
    rows = [
        f"{500_000 + e},{5_300_000 + n},{3 - abs(e - 30) / 15 - abs(n - 30) / 30:.2f}"
        for e in range(6, 60, 8)
        for n in range(6, 60, 8)
    ]
    text = """
    [water]
    name = "Test pond"
    shoreline = "shoreline.geojson"
    crs = "EPSG:32633"

    [[soundings]]
    file = "soundings.csv"
    crs = "EPSG:32633"

    [bed]
    method = "triangulated"

    [make]
    cell = "4 m"
    write = ["tables"]
    """
    return {
        "survey.toml": textwrap.dedent(text).encode(),
        "shoreline.geojson": json.dumps(pond).encode(),
        "soundings.csv": "\n".join(["easting,northing,depth_m", *rows]).encode(),
    }


class Ask:
    """Asks a server for things, and checks what every answer must have."""

    def __init__(self, client: httpx.Client) -> None:
        self.client = client

    def execute(self, process: str, *, later: bool = False, **body: Any) -> httpx.Response:
        """Carry a process out."""
        headers = {"Prefer": "respond-async"} if later else {}
        return self.client.post(f"/processes/{process}/execution", json=body, headers=headers)

    def problem(self, answer: httpx.Response, status: int, *, name: str = "") -> str:
        """Check that an answer is a problem as RFC 7807 has it, and return its detail."""
        assert answer.status_code == status, answer.text
        assert answer.headers["content-type"] == "application/problem+json"
        told = answer.json()
        base = "http://www.opengis.net/def/exceptions/ogcapi-processes-1/1.0/"
        assert told["type"] == (base + name if name else "about:blank")
        assert told["status"] == status
        assert told["title"]
        assert "\n" not in told["detail"]
        return str(told["detail"])

    def over(self, job: str, seconds: float = 100.0) -> dict[str, Any]:
        """Wait for a job and return how it stands."""
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            told: dict[str, Any] = self.client.get(job).json()
            if told["status"] not in ("accepted", "running"):
                return told
            time.sleep(0.05)
        raise AssertionError(f"not over after {seconds} s: {told}")

    def upload(self, name: str, content: bytes) -> str:
        """Hand a file in and return its address."""
        answer = self.client.post("/uploads", params={"name": name}, content=content)
        assert answer.status_code == 201, answer.text
        return str(answer.json()["href"])


@pytest.fixture(scope="session")
def ask(client: httpx.Client) -> Ask:
    """Give what asks."""
    return Ask(client)


@pytest.fixture(scope="session")
def begin() -> Callable[..., Server]:
    """Give what starts further servers."""
    return start


@pytest.fixture(scope="session")
def end() -> Callable[[Server], None]:
    """Give what ends them."""
    return stop
