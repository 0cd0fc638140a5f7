"""Requests: how long others wait while a server reads the largest request that it takes."""

import base64
import http.client
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from measure import Row, show

LARGEST = 64 * 2**20 - 1024
START = """
from toolbox.server.command import serve_command

if __name__ == "__main__":
    serve_command()
"""
GOAL = 0.2


def repeated(head: bytes, part: bytes, tail: bytes) -> bytes:
    """Make a request of the largest size."""
    return head + part * ((LARGEST - len(head) - len(tail)) // len(part)) + tail


def requests() -> Iterator[tuple[str, str, bytes]]:
    """Make requests: what they are, the process asked, the body."""
    place = b"[10.12345,47.12345],"
    head = (
        b'{"inputs":{"shoreline":{"type":"Feature","properties":{},"geometry":'
        b'{"type":"Polygon","coordinates":[['
    )
    yield "a line of 3 million places", "fetch", repeated(head, place, place[:-1] + b"]]}}}}")
    raster = base64.b64encode(b"II*\0" + bytes(LARGEST * 3 // 4 - 200))
    yield "a raster in base64", "slope", b'{"inputs":{"depth":"' + raster + b'"}}'
    keys = b",".join(b'"k%014d":1' % key for key in range(LARGEST // 20))
    yield "3 million keys", "slope", b'{"inputs":{' + keys + b"}}"


@contextmanager
def serving() -> Iterator[int]:
    """Run a server; give its port."""
    with tempfile.TemporaryDirectory() as name:
        (Path(name) / "start.py").write_text(START)
        words = [sys.executable, "-u", f"{name}/start.py", "--work", f"{name}/work", "--port", "0"]
        house = str(Path(__file__).parents[2])
        environment = os.environ | {"PYTHONPATH": house}
        with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=environment) as process:
            assert process.stdout is not None
            yield int(process.stdout.readline().split()[1].rstrip("/").rsplit(":", 1)[1])
            process.terminate()


def ask(port: int, stop: threading.Event, waited: list[float]) -> None:
    """Ask for a small page, again and again, until told to stop."""
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    while not stop.wait(0.005):
        begun = time.perf_counter()
        link.request("GET", "/conformance")
        link.getresponse().read()
        waited.append(time.perf_counter() - begun)


def longest_wait(port: int, process: str, body: bytes) -> float:
    """Return how long a small answer took at most while a large request was read, s."""
    stop, waited = threading.Event(), [0.0]
    asking = threading.Thread(target=ask, args=(port, stop, waited))
    asking.start()
    try:
        link = http.client.HTTPConnection("127.0.0.1", port, timeout=300)
        path, headers = f"/processes/{process}/execution", {"Content-Type": "application/json"}
        link.request("POST", path, body=body, headers=headers)
        link.getresponse().read()
    finally:
        stop.set()
        asking.join()
    return max(waited)


def rows() -> list[Row]:
    """Measure."""
    with serving() as port:
        small = b'{"inputs":{"none":1}}'
        for _ in range(20):  # until all processes are described
            longest_wait(port, "slope", small)
            time.sleep(0.5)
        return [
            Row(
                "longest wait for a small answer",
                f"64 MiB: {what}",
                longest_wait(port, process, body),
                "s",
                at_most=GOAL,
            )
            for what, process, body in requests()
        ]


if __name__ == "__main__":
    show(rows())
