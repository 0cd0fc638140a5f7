"""The server is started, stopped, killed and started again as its keeper would."""

import json
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import psutil
import pytest
from click.testing import CliRunner

from toolbox.errors import OutputError, ParameterError
from toolbox.server import command
from toolbox.server.command import serve_command


def sleep(url: str, seconds: float) -> httpx.Response:
    """Ask for a job that sleeps."""
    body = {"inputs": {"seconds": seconds}}
    path, headers = f"{url}/processes/probe-sleep/execution", {"Prefer": "respond-async"}
    return httpx.post(path, json=body, headers=headers, timeout=30)


def wait_for(what: Callable[[], bool], seconds: float = 100.0) -> None:
    """Wait until something is so."""
    until = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < until
        time.sleep(0.05)


def touch(work: Path, seconds: float) -> None:
    """Let all that a work folder holds be of another time."""
    when = time.time() + seconds
    for path in work.rglob("*"):
        os.utime(path, (when, when))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder for a server of its own."""
    return tmp_path_factory.mktemp("own")


@pytest.fixture(scope="module")
def killed(
    folder: Path, begin: Callable[..., Any], end: Callable[[Any], None]
) -> Iterator[dict[str, Any]]:
    """Tell what is there after a server was killed at its work."""
    one = begin(folder, jobs="1", queue="2", disk="20 MiB", url="http://lake.test/x")
    started = [one]
    try:
        told = at_work(one)
        kill(one)
        told["gone"] = psutil.wait_procs(told["children"], timeout=30)
        touch(one.work, 1000)
        started.append(begin(folder, jobs="1", hours="0.01"))
        told["again"] = started[-1]
        told["jobs"] = httpx.get(f"{started[-1].url}/jobs", timeout=60).json()["jobs"]
        yield told
    finally:
        for each in started:
            end(each)


def at_work(one: Any) -> dict[str, Any]:
    """Give a server more than it may take, and tell what it says."""
    told: dict[str, Any] = {}
    done = sleep(one.url, 0)
    told["done"] = done.headers["location"]
    place = f"{one.url}/jobs/{done.json()['jobID']}"
    wait_for(lambda: httpx.get(place).json()["status"] == "successful")
    held = [sleep(one.url, 100) for _ in range(5)]
    told["running"] = [answer.json()["jobID"] for answer in held if answer.status_code == 201]
    told["refused"] = [answer for answer in held if answer.status_code != 201]
    upload = f"{one.url}/uploads?name=a.csv"
    told["stored"] = [httpx.post(upload, content=bytes(4_000_000)) for _ in range(7)]
    told["second"] = CliRunner().invoke(serve_command, ["--work", str(one.work), "--port", "0"])
    told["children"] = psutil.Process(one.process.pid).children()
    return told


def kill(one: Any) -> None:
    """Kill a server, which can do nothing about it."""
    one.process.kill()
    one.process.wait()


def test_jobs_beyond_the_queue_are_refused_clearly(killed: dict[str, Any]) -> None:
    assert len(killed["running"]) in (2, 3)  # one may run already when the third comes
    for answer in killed["refused"]:
        assert answer.status_code == 503
        assert answer.headers["retry-after"] == "5"
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.json()["detail"] == "2 jobs are waiting, no more are taken"


def test_uploads_beyond_the_disk_are_refused_clearly(killed: dict[str, Any]) -> None:
    statuses = [answer.status_code for answer in killed["stored"]]
    assert 507 in statuses
    assert 2 <= statuses.count(201) <= 6
    refused = killed["stored"][statuses.index(507)].json()
    assert refused["detail"] == "the work folder is full; results and uploads can be deleted"


def test_links_lead_to_where_others_know_the_server(killed: dict[str, Any]) -> None:
    assert killed["done"].startswith("http://lake.test/x/jobs/")


def test_two_servers_do_not_share_a_work_folder(killed: dict[str, Any]) -> None:
    assert isinstance(killed["second"].exception, OutputError)
    assert str(killed["second"].exception).endswith("is in use by another server")


def test_workers_end_with_a_server_that_is_killed(killed: dict[str, Any]) -> None:
    assert killed["children"]
    assert killed["gone"][1] == []


def test_the_next_server_knows_the_jobs_of_one_that_was_killed(killed: dict[str, Any]) -> None:
    known = {job["jobID"]: job for job in killed["jobs"]}
    assert known[killed["done"].rsplit("/", 1)[1]]["status"] == "successful"
    for job in killed["running"]:
        assert known[job]["status"] == "failed"
        assert known[job]["message"] == "the server stopped before this job was done"


def test_what_is_old_is_removed(killed: dict[str, Any]) -> None:
    again = killed["again"]
    touch(again.work, -1000)
    wait_for(lambda: httpx.get(f"{again.url}/jobs").json()["jobs"] == [])
    wait_for(lambda: httpx.get(f"{again.url}/uploads").json()["uploads"] == [])
    assert list((again.work / "jobs").iterdir()) == []
    assert list((again.work / "uploads").iterdir()) == []


def test_a_server_that_is_told_to_stop_ends_its_jobs(
    killed: dict[str, Any], end: Callable[[Any], None]
) -> None:
    one = killed["again"]
    job = sleep(one.url, 50).json()["jobID"]
    children = psutil.Process(one.process.pid).children()
    end(one)
    assert psutil.wait_procs(children, timeout=10)[1] == []
    told = json.loads((one.work / "jobs" / job / "job.json").read_text())
    assert (told["status"], told["fault"]) == ("failed", "server")
    assert "Traceback" not in (one.work.parent / "errors.txt").read_text()


def test_a_limit_must_be_above_zero(tmp_path: Path) -> None:
    told = CliRunner().invoke(serve_command, ["--work", str(tmp_path), "--hours", "0"])
    assert isinstance(told.exception, ParameterError)
    assert str(told.exception) == "age must be > 0, got 0.0"


def test_a_port_that_is_taken_is_told(tmp_path: Path, server: Any) -> None:
    given = ["--work", str(tmp_path), "--port", str(server.port)]
    told = CliRunner().invoke(serve_command, given)
    assert isinstance(told.exception, OutputError)
    expected = f"127.0.0.1 port {server.port} cannot be listened at: Address already in use"
    assert str(told.exception) == expected


def test_another_address_is_cautioned_against(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names: list[Any] = []
    monkeypatch.setattr(command, "_serve", lambda *given: names.append(given[4]))
    for host in ("127.0.0.1", "0.0.0.0"):
        given = ["--work", str(tmp_path), "--port", "0", "--host", host]
        told = CliRunner().invoke(serve_command, given)
        assert told.exit_code == 0
        caution = "caution: anyone who reaches 0.0.0.0 can use this server, "
        assert told.stderr.startswith(caution) == (host == "0.0.0.0")
    assert names == [frozenset({"127.0.0.1", "localhost", "[::1]"}), frozenset()]
