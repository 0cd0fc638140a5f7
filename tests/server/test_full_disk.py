"""What finds no room is refused with 507 (RFC 4918, Dusseault, 2007, section 11.5)."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest

resource = pytest.importorskip("resource", reason="no limit can be set on the size of files")
pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="another process is limited on Linux only"
)

MOST = 200_000
TOO_LARGE = "the work folder is full: File too large"


@pytest.fixture(scope="module")
def limited(
    tmp_path_factory: pytest.TempPathFactory, begin: Callable[..., Any], end: Callable[..., None]
) -> Iterator[Any]:
    """Give a server with one worker."""
    server = begin(tmp_path_factory.mktemp("limited"), jobs="1")
    yield server
    end(server)


@pytest.fixture
def ask_limited(ask: Any, limited: Any) -> Iterator[Any]:
    """Give what asks that server."""
    with httpx.Client(base_url=limited.url, timeout=120) as client:
        yield type(ask)(client)


@contextmanager
def full(pid: int, most: int = MOST) -> Iterator[None]:
    """Let no file of a process grow beyond a size, as on a full disk."""
    soft, hard = resource.prlimit(pid, resource.RLIMIT_FSIZE)
    resource.prlimit(pid, resource.RLIMIT_FSIZE, (most, hard))
    try:
        yield
    finally:
        resource.prlimit(pid, resource.RLIMIT_FSIZE, (soft, hard))


def left(server: Any) -> list[Path]:
    """List the files of a work folder that are neither locks nor records."""
    parts = ("uploads", "jobs", "scratch")
    return [p for part in parts for p in (server.work / part).rglob("*") if p.is_file()]


def test_an_upload_that_finds_no_room_is_refused(ask_limited: Any, limited: Any) -> None:
    with full(limited.process.pid):
        for content in (bytes(1_000_000), iter([bytes(100_000)] * 10)):
            answer = ask_limited.client.post("/uploads?name=a.csv", content=content)
            assert ask_limited.problem(answer, 507) == TOO_LARGE
            assert answer.json()["title"] == "Insufficient Storage"
        assert left(limited) == []
        ask_limited.client.delete(ask_limited.upload("small.csv", bytes(1000)))


def test_a_request_that_finds_no_room_is_refused(ask_limited: Any, limited: Any) -> None:
    with full(limited.process.pid):
        answer = ask_limited.execute("slope", inputs={"depth": "x" * 1_000_000})
        assert ask_limited.problem(answer, 507) == TOO_LARGE
    assert left(limited) == []


def test_a_layer_taken_out_of_a_request_that_finds_no_room_is_refused(
    ask_limited: Any, limited: Any, pond: dict[str, Any]
) -> None:
    """It is written with spaces, and is therefore larger than the request."""
    many = pond | {"features": pond["features"] * 2000}
    body = json.dumps({"inputs": {"shoreline": many}}, separators=(",", ":")).encode()
    path, headers = "/processes/fetch/execution", {"Content-Type": "application/json"}
    with full(limited.process.pid, len(body)):
        answer = ask_limited.client.post(path, content=body, headers=headers)
    assert ask_limited.problem(answer, 507) == "the body cannot be kept: File too large"
    assert left(limited) == []


def test_a_small_request_that_finds_no_room_is_refused(
    ask_limited: Any, limited: Any, inline: dict[str, str]
) -> None:
    with full(limited.process.pid, 100):
        answer = ask_limited.execute("slope", inputs={"depth": inline})
        assert ask_limited.problem(answer, 507) == TOO_LARGE
    assert left(limited) == []
    assert ask_limited.client.get("/jobs").json()["jobs"] == []
    assert list((limited.work / "jobs").iterdir()) == []


def test_a_result_that_finds_no_room_is_told_as_such(
    ask_limited: Any, limited: Any, inline: dict[str, str]
) -> None:
    assert ask_limited.execute("slope", inputs={"depth": inline}).status_code == 200
    for worker in psutil.Process(limited.process.pid).children():
        resource.prlimit(worker.pid, resource.RLIMIT_FSIZE, (100, 100))
    told = ask_limited.over(
        ask_limited.execute("slope", inputs={"depth": inline}, later=True).headers["location"]
    )
    assert told["status"] == "failed"
    assert told["exception"]["status"] == 507, told
    assert told["message"].startswith("result.tif cannot be written: ")
