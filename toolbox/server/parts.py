"""Parts: what a request holds, the layers of a large one as files."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from toolbox.faults import said_by
from toolbox.server import apart
from toolbox.server.bodies import Body
from toolbox.server.problems import ProblemError
from toolbox.server.service import Service

__all__ = ["Part", "taken_apart"]


@dataclass(frozen=True)
class Part:
    """A layer or a long text of a request, written to a file.

    Parameters
    ----------
    path : Path
        Of the file, in UTF-8.
    geojson : bool
        Whether it was a GeoJSON object; else it was a text.
    """

    path: Path
    geojson: bool

    def __repr__(self) -> str:
        """Tell what it is without holding it."""
        what = "GeoJSON" if self.geojson else "a text"
        return f"{what} of {self.path.stat().st_size:,} bytes"


@contextmanager
def taken_apart(body: Body, service: Service) -> Iterator[dict[str, Any]]:
    """Give the object that a body holds.

    Parameters
    ----------
    body : Body
        In JSON. Of a large one, each layer and long text among the inputs is a :class:`Part`, whose
        file is there until the block ends.
    service : Service
        Knows the limits, and where files are made.

    Raises
    ------
    ProblemError
        If it is no JSON object, or too large for memory or disk.
    """
    if not body.large:
        try:
            yield apart.json_object(body.file.read(), service.limits.body)
        except apart.RefusedError as error:
            raise ProblemError(error.status, said_by(error)) from error
        return
    with TemporaryDirectory(dir=service.store.scratch) as folder:
        yield _split(body, Path(folder), service)


def _split(body: Body, folder: Path, service: Service) -> dict[str, Any]:
    told = _told(body, folder, service)
    if "refused" in told:
        status, detail = told["refused"]
        raise ProblemError(status, " ".join(detail.split()))
    found: dict[str, Any] = told["body"]
    for key, (name, geojson, qualified) in told["files"].items():
        part = Part(folder / name, geojson)
        if qualified:
            found["inputs"][key]["value"] = part
        else:
            found["inputs"][key] = part
    return found


def _told(body: Body, folder: Path, service: Service) -> dict[str, Any]:
    import json

    limits = service.limits
    command = [sys.executable, "-I", "-S", apart.__file__, str(limits.body), str(folder)]
    try:
        done = subprocess.run(
            command, stdin=body.file, capture_output=True, timeout=limits.seconds, check=True
        )
    except subprocess.TimeoutExpired as error:
        raise ProblemError(413, "the body takes too long to read: upload a file") from error
    except subprocess.CalledProcessError as error:
        raise RuntimeError(error.stderr.decode(errors="replace")) from error
    told: dict[str, Any] = json.loads(done.stdout)
    return told
